// Package opinion asks somebody else.
//
// Picture a second engineer who never saw the program: handed the rules on paper
// and the numbers of one site, they build the same model with other tools and
// count. If their count of states or one of their verdicts differs, one of the
// two is wrong. The rules in *.rules restate monitor.Advance, the output's step
// and the properties' own memory from SEMANTICS.md, line by line, in a small
// common language; this package prints them as Promela for SPIN and as Murphi
// for rumur. No table of the verifier's is printed but one: what the permissive
// and a vessel's bond can be while all other causes are free.
//
// What a cell of a counter does not tell apart is asked of smaller models, in which
// every counter has its exact value: a channel alone, or a bypass, beside one
// property. They check the numbers that the verifier prints.
//
// State is exactly what the declarations of the printed source list: every
// variable that is kept from one scan to the next. One scan is one step.
package opinion

import (
	"embed"
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

//go:embed rules
var rules embed.FS

// Source is one product of the search plan, ready to be printed.
type Source struct {
	Title     string
	kind      string
	says      string // of a channel alone: what is demanded of its bound
	constants []constant
	memory    []variable // kept from scan to scan
	inputs    []input
	scratch   []variable // of one scan
	body      []string
	counters  map[string]counter
	left      map[string][][3]uint8
	judged    []model.Property
}

type constant struct {
	name  string
	value uint64
}

// variable holds 0 to top.
type variable struct {
	name string
	top  uint64
}

// input is chosen anew in every scan. Where may[i] is not empty, values[i] can
// only be chosen while it holds.
type input struct {
	name   string
	values []uint64
	may    []string
}

// counter is cut into cells, each named by its first value; or it is exact, every
// value a cell.
type counter struct {
	first []uint64
	top   uint64
	exact bool
}

// wide lists the cells that hold more than one value.
func (c counter) wide() (list []uint64) {
	for i, v := range c.first {
		if c.last(i) > v {
			list = append(list, v)
		}
	}
	return list
}

func (c counter) last(i int) uint64 {
	if i+1 < len(c.first) {
		return c.first[i+1] - 1
	}
	return c.top
}

func (c counter) cellOf(v uint64) uint64 {
	cell := uint64(0)
	for _, f := range c.first {
		if f <= v {
			cell = f
		}
	}
	return cell
}

// stated lists the properties that models of a kind state.
func stated(kind string) (list []model.Property) {
	for _, p := range verify.Properties() {
		if p.Emitted.States(kind) {
			list = append(list, p.Number)
		}
	}
	return list
}

// Judged lists the properties that have something to say of a product. Of the others
// a cover would be demanded that is never hit, an error to rumur.
func Judged(p *verify.Piece) (list []model.Property) {
	for _, n := range stated(p.Kind) {
		if p.Silent(n) == "" {
			list = append(list, n)
		}
	}
	return list
}

// wanted checks the properties that were asked for. Without any it is what our
// own search of the product judges: all but what has a memory of its own, which
// would make more states than that search has.
func wanted(p *verify.Piece, properties []model.Property) ([]model.Property, error) {
	judged := Judged(p)
	if len(properties) == 0 {
		return slices.DeleteFunc(judged, func(n model.Property) bool { return entry(n).Emitted.Asked != "" }), nil
	}
	for _, n := range properties {
		instead, emitted := listed(judged), entry(n).Emitted
		switch why := p.Silent(n); {
		case emitted.States(p.Kind) && why != "":
			return nil, fmt.Errorf("property %s has nothing to say here, %s; write some of %s", n, why, instead)
		case emitted.States(p.Kind):
		case emitted.States(aChannel):
			return nil, fmt.Errorf("property %s is judged by the model of a channel alone; leave --output out, or write some of %s", n, instead)
		case emitted.States(aBypass):
			return nil, fmt.Errorf("property %s is judged by the model of a bypass alone; write --bypass instead of --output, or some of %s", n, instead)
		default:
			return nil, fmt.Errorf("property %s is not judged by the model of kind %s; write some of %s", n, p.Kind, instead)
		}
	}
	return properties, nil
}

// entry is what is to be known of a property.
func entry(number model.Property) verify.Property {
	for _, p := range verify.Properties() {
		if p.Number == number {
			return p
		}
	}
	return verify.Property{Number: number}
}

// The kinds of models of a part alone.
const (
	aChannel = string(verify.InChannel)
	aBypass  = string(verify.InBypass)
)

// Restate makes the source of a product. Of the properties named it will demand
// that none is violated; without any, of all that our own search judges.
func Restate(p *verify.Piece, properties ...model.Property) (*Source, error) {
	if len(stated(p.Kind)) == 0 {
		return nil, fmt.Errorf("a product of kind %s is not restated; only reset and wait are", p.Kind)
	}
	properties, err := wanted(p, properties)
	if err != nil {
		return nil, err
	}
	s := &Source{
		Title: fmt.Sprintf("output %s with channel %s in full detail", p.Output, p.Channel), kind: p.Kind,
		counters: map[string]counter{}, left: map[string][][3]uint8{}, judged: properties,
	}
	s.channel(p)
	s.output(p)
	if p.Kind == "wait" {
		s.Title += " and the charge memory of " + p.Vessel
		s.brief(p)
		s.vessel(p)
	} else {
		s.buttons(p)
	}
	s.body = append(s.body, "judge")
	s.findScratch()
	return s, nil
}

// add appends the rules of a file; every @ in them is a number.
func (s *Source) add(name string, number int) {
	text, err := rules.ReadFile("rules/" + name + ".rules")
	if err != nil {
		panic(err) // embedded
	}
	s.body = append(s.body, lines(strings.ReplaceAll(string(text), "@", fmt.Sprint(number)))...)
}

func lines(text string) []string { return strings.Split(strings.TrimSpace(text), "\n") }

func (s *Source) constant(name string, value uint64) {
	s.constants = append(s.constants, constant{name, value})
}

func (s *Source) number(names string) {
	for i, name := range strings.Fields(names) {
		s.constant(name, uint64(i))
	}
}

func (s *Source) flag(name string, on bool) { s.constant(name, toNumber(on)) }

func toNumber(on bool) uint64 {
	if on {
		return 1
	}
	return 0
}

func (s *Source) keep(top uint64, names string) {
	for _, name := range strings.Fields(names) {
		s.memory = append(s.memory, variable{name, top})
	}
}

// choose adds an input; one that has a single value is a constant.
func (s *Source) choose(name string, values ...uint64) *input {
	if len(values) == 1 {
		s.constant(name, values[0])
		return nil
	}
	s.inputs = append(s.inputs, input{name, values, make([]string, len(values))})
	return &s.inputs[len(s.inputs)-1]
}

// only restricts the choice of one value.
func (in *input) only(value uint64, guard string) {
	if in == nil {
		return
	}
	for i, v := range in.values {
		if v == value {
			in.may[i] = guard
		}
	}
}

func upTo(n uint64) []uint64 {
	var list []uint64
	for v := uint64(0); v < n; v++ {
		list = append(list, v)
	}
	return list
}

// count adds a counter; where it has a wide cell, the scan chooses whether it
// stands at the cell's first value or at its last.
func (s *Source) count(name string, first []model.Scans, top uint64, while string) {
	c := counter{top: top}
	for _, f := range first {
		c.first = append(c.first, uint64(f))
	}
	s.counters[name] = c
	s.keep(c.first[len(c.first)-1], name)
	var at []string
	for _, v := range c.wide() {
		at = append(at, fmt.Sprintf("%s == %d", name, v))
	}
	if len(at) > 0 {
		s.choose("last_"+name, 0, 1).only(1, while+"("+strings.Join(at, " || ")+")")
	}
}

// findScratch lists what the rules assign and nobody declared.
func (s *Source) findScratch() {
	known := map[string]bool{}
	for _, v := range s.memory {
		known[v.name] = true
	}
	for _, line := range s.body {
		fields := strings.Fields(line)
		name := ""
		if len(fields) > 2 && fields[1] == ":=" {
			name = fields[0]
		} else if len(fields) == 6 && fields[0] == "pick" {
			name = fields[1]
		}
		if name != "" && !known[name] {
			known[name] = true
			s.scratch = append(s.scratch, variable{name, s.topOf(name)})
		}
	}
}

// topOf is the largest value of a scratch variable.
func (s *Source) topOf(name string) uint64 {
	if c, ok := s.counters[strings.TrimPrefix(name, "was_")]; ok {
		return c.top
	}
	switch name {
	case "cost", "cost" + beside:
		return s.valueOf("FULL")
	case "on", "wasOn":
		return s.valueOf("ON_DELAY") + 1
	case "most":
		return s.valueOf("LONGEST")
	}
	return 7
}

func (s *Source) valueOf(name string) uint64 {
	for _, c := range s.constants {
		if c.name == name {
			return c.value
		}
	}
	return 0
}
