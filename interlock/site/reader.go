package site

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ohmgate/interlock"
)

// thing is what a name stands for.
type thing uint16

const (
	aChannel thing = 1 << iota
	anInput
	anOutput
	aVessel
	aStream
	aBypass
	aProperty
	aPart
	aFunction
	aPort
	aModule
)

var thingNames = map[thing]string{
	aChannel: "channel", anInput: "input", anOutput: "output", aVessel: "vessel", aStream: "stream",
	aBypass: "bypass", aProperty: "property", aPart: "part", aFunction: "safety function", aPort: "port", aModule: "module",
}

// String lists the kinds of things in a set, such as "vessel or part".
func (t thing) String() string {
	text := ""
	for one := aChannel; one <= aModule; one <<= 1 {
		if t&one == 0 {
			continue
		}
		if text != "" {
			text += " or "
		}
		text += thingNames[one]
	}
	return text
}

// withArticle is one kind of thing with its article.
func (t thing) withArticle() string {
	if strings.HasPrefix(t.String(), "input") || strings.HasPrefix(t.String(), "output") {
		return "an " + t.String()
	}
	return "a " + t.String()
}

// reader is one reading of one file.
type reader struct {
	src      *source
	problems Problems
	keys     map[string]Position // path -> its key
	values   map[string]*node    // path -> its value
	read     map[string]bool     // path -> a value was read without a problem
	names    map[string]declared
	listed   []string // names in the order of the file

	references  []reference
	expressions []formula
	times       []timed
	bonds       map[string]interlock.Permissive // vessel -> what shows its earth, where that could be read
}

// declared is a name and what it stands for.
type declared struct {
	what thing
	at   Position
}

// reference is a name that must be declared somewhere in the file.
type reference struct {
	name string
	path string
	at   Position
	want thing
	uses []string // of an input; nil: any
}

// formula is an expression to be checked once all names are known.
type formula struct {
	text string
	path string
	node *node
	want thing // what it may read
}

// timed is a time that becomes a count of scans.
type timed struct {
	time time.Duration
	at   Position
}

func newReader(src *source) *reader {
	return &reader{src: src, keys: map[string]Position{}, values: map[string]*node{}, read: map[string]bool{}, names: map[string]declared{}, bonds: map[string]interlock.Permissive{}}
}

func (r *reader) complain(at Position, text, instead string) {
	r.problems = append(r.problems, r.src.problem(at, text, instead))
}

// enter remembers where a path stands.
func (r *reader) enter(path string, key Position, value *node) {
	r.keys[path], r.values[path] = key, value
}

// at is where a path's key stands; otherwise where it is silent about.
func (r *reader) at(path string, otherwise Position) Position {
	if at, ok := r.keys[path]; ok {
		return at
	}
	return otherwise
}

// valueAt is where a path's value stands, or else its key, or else the nearest
// enclosing thing.
func (r *reader) valueAt(path string) Position {
	if n, ok := r.values[path]; ok && n.at != (Position{}) {
		return n.at
	}
	return nearestPosition(r.keys, path)
}

// ok reports that all paths were read without a problem.
func (r *reader) ok(paths ...string) bool {
	for _, path := range paths {
		if !r.read[path] {
			return false
		}
	}
	return true
}

var shapeNames = map[shape]string{nothing: "nothing", scalar: "a single value", mapping: "keys and values", list: "a list"}

// want refuses a node of another shape.
func (r *reader) want(n *node, s shape, instead string) bool {
	if n.shape != s {
		r.complain(n.at, fmt.Sprintf("here stands %s; wanted: %s", shapeNames[n.shape], shapeNames[s]), instead)
	}
	return n.shape == s
}

// declare gives a name to a thing. fresh is false where the name is taken; a
// name of a bad form is told, and known all the same, so that those who refer
// to it are not told as well.
func (r *reader) declare(name string, what thing, at Position) (fresh bool) {
	if text, instead := badName(name); text != "" {
		r.complain(at, text, instead)
	}
	if first, taken := r.names[name]; taken {
		r.complain(at, fmt.Sprintf("the name %q is taken by the %s in line %d", cut(name), first.what, first.at.Line), "give every thing in the file a name of its own")
		return false
	}
	r.names[name] = declared{what, at}
	if nameShape.MatchString(name) {
		r.listed = append(r.listed, name)
	}
	return true
}

// resolve checks every reference against the declared names.
func (r *reader) resolve(s *Site) {
	for _, ref := range r.references {
		found, ok := r.names[ref.name]
		switch {
		case !ok || found.what&ref.want == 0:
			r.dangling(ref.at, ref.name, ref.want)
		case found.what == anInput && ref.uses != nil:
			r.checkUse(s, ref)
		default:
			r.read[ref.path] = true
		}
	}
}

// dangling tells of a name that stands for nothing, or for something else.
func (r *reader) dangling(at Position, name string, want thing) {
	if found, ok := r.names[name]; ok {
		r.complain(at, fmt.Sprintf("%q is the name of %s", cut(name), found.what.withArticle()), "write the name of "+want.withArticle())
		return
	}
	r.complain(at, fmt.Sprintf("no %s is called %q", want, cut(name)), r.didYouMean(name, want))
}

// didYouMean suggests a declared name of the right kind.
func (r *reader) didYouMean(name string, want thing) string {
	if len(r.problems) > mostProblems { // looking up all names for each would take long
		return "declare it, or correct the name"
	}
	var candidates []string
	for _, candidate := range r.listed {
		if r.names[candidate].what&want != 0 {
			candidates = append(candidates, candidate)
		}
	}
	if meant := nearest(name, candidates); meant != "" {
		return fmt.Sprintf("write %s, or declare %q", meant, cut(name))
	}
	if len(candidates) == 0 {
		return fmt.Sprintf("declare one; the file has no %s", want)
	}
	return "declare it, or correct the name"
}

// Read reads one site file. Either the site or the list of everything that is
// wrong with it is nil.
func Read(file string) (*Site, Problems) {
	data, problems := ReadBytes(file)
	if problems != nil {
		return nil, problems
	}
	return Parse(file, data)
}

// Parse reads a site from the bytes of a file; the name is for messages.
func Parse(name string, data []byte) (*Site, Problems) {
	root, src, problems := load(name, data)
	if root == nil || len(problems) > 0 {
		return nil, problems.sorted()
	}
	r := newReader(src)
	s := &Site{File: name, Hash: hash(data)}
	siteFields.read(r, root, "", s)
	s.positions, s.values = r.keys, r.positionsOfValues()
	r.resolve(s)
	r.check(s)
	if len(r.problems) == 0 {
		if _, last := s.Logic(); len(last) > 0 {
			r.problems = last
		}
	}
	if len(r.problems) > 0 {
		return nil, r.problems.sorted()
	}
	return s, nil
}

func (r *reader) positionsOfValues() map[string]Position {
	at := make(map[string]Position, len(r.values))
	for path, n := range r.values {
		at[path] = n.at
	}
	return at
}

// checkUse refuses an input that is declared for something else.
func (r *reader) checkUse(s *Site, ref reference) {
	use := s.Inputs[s.InputIndex(ref.name)].Use
	if use == "" || slices.Contains(ref.uses, use) { // an unreadable use is told already
		r.read[ref.path] = true
		return
	}
	r.complain(ref.at, fmt.Sprintf("%q is declared for use as %s", ref.name, use), "name an input with use: "+strings.Join(ref.uses, " or "))
}
