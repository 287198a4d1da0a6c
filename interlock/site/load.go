package site

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits against files that are no site. The largest site that fits the logic
// (128 channels, 384 inputs, 64 outputs) takes about a tenth of the size.
const (
	MaxBytes  = 1 << 20
	maxDepth  = 16
	maxTokens = 100_000
	maxEmpty  = 100  // keys without a value: each makes the library copy all that follows
	maxLine   = 2000 // characters; the library takes minutes over some longer ones
)

// ReadBytes reads a file, but never more of it than a site file may be long.
func ReadBytes(file string) ([]byte, Problems) {
	refuse := func(text, instead string) Problems {
		return Problems{{File: file, Line: 1, Column: 1, Text: text, Instead: instead}}
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, refuse("cannot be opened: "+plainCause(err), "name a site file that can be read")
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, MaxBytes+1))
	if err != nil {
		return nil, refuse("cannot be read: "+plainCause(err), "name a site file that can be read")
	}
	return data, nil
}

// plainCause is an error of the operating system without the file's name, which
// stands before it already.
func plainCause(err error) string {
	var path *os.PathError
	if errors.As(err, &path) {
		return path.Err.Error()
	}
	return err.Error()
}

// source is a file's text with its lines ready for looking up columns.
type source struct {
	file  string
	text  string
	lines [][]rune
}

func (s *source) problem(at Position, text, instead string) Problem {
	return Problem{File: s.file, Line: at.Line, Column: at.Column, Text: text, Instead: instead}
}

// prepare checks that the bytes are a text that the YAML library may see.
func prepare(file string, data []byte) (*source, Problems) {
	s := &source{file: file}
	if len(data) > MaxBytes {
		return s, Problems{s.problem(Position{1, 1}, fmt.Sprintf("longer than %d bytes", MaxBytes), "split the plant into several sites")}
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if at := badByte(data); at >= 0 {
		text := "not valid UTF-8 text"
		if data[at] < utf8.RuneSelf {
			text = fmt.Sprintf("control character %#02x", data[at])
		}
		return s, Problems{s.problem(place(data, at), text, "save the file as plain UTF-8 text, lines ended by line feeds")}
	}
	s.text = string(bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n")))
	line := []rune{}
	for _, r := range s.text {
		if r == '\n' {
			s.lines = append(s.lines, line)
			line = nil
			continue
		}
		line = append(line, r)
	}
	s.lines = append(s.lines, line)
	for i, line := range s.lines {
		if len(line) > maxLine {
			return s, Problems{s.problem(Position{i + 1, maxLine + 1}, fmt.Sprintf("a line of more than %d characters", maxLine), "break it; a long text or permissive may go on in the next line")}
		}
	}
	return s, nil
}

// badByte is where the first byte stands that no plain text holds; -1 if none.
func badByte(data []byte) int {
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			return i
		case r == '\r' && i+1 < len(data) && data[i+1] == '\n':
		case r < ' ' && r != '\n' && r != '\t', r == 0x7f, r == 0xfeff, r == 0x85, r == 0x2028, r == 0x2029:
			return i
		}
		i += size
	}
	return -1
}

// place turns an offset into a line and a column.
func place(data []byte, at int) Position {
	before := data[:at]
	start := bytes.LastIndexByte(before, '\n') + 1
	return Position{1 + bytes.Count(before, []byte{'\n'}), 1 + utf8.RuneCount(before[start:])}
}

// load turns a file's bytes into a tree of nodes. Everything that could make
// the YAML library expand, recurse or guess is refused on the tokens, before
// its parser runs.
func load(file string, data []byte) (root *node, src *source, problems Problems) {
	src, problems = prepare(file, data)
	if problems != nil {
		return nil, src, problems
	}
	defer func() { // the library is not ours; a file must never end the program
		if r := recover(); r != nil {
			root = nil
			problems = Problems{src.problem(Position{1, 1}, fmt.Sprintf("the YAML reader gave up: %v", r), "simplify the file: plain keys, plain values, two blanks per level")}
		}
	}()
	tokens := lexer.Tokenize(src.text)
	if problems = src.inspect(tokens); problems != nil {
		return nil, src, problems
	}
	tree, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, src, Problems{src.syntax(err)}
	}
	for _, doc := range tree.Docs {
		if doc.Body != nil {
			b := builder{src: src}
			root = b.build(doc.Body)
			return root, src, b.problems
		}
	}
	return nil, src, Problems{src.problem(Position{1, 1}, "the file is empty", "start with \"site: name\" and \"scan: 10 ms\"")}
}

// syntax turns the library's error into ours.
func (s *source) syntax(err error) Problem {
	var syntax *yaml.SyntaxError
	at, text := Position{1, 1}, err.Error()
	instead := "write \"key: value\", one a line, two blanks further in for each level"
	if errors.As(err, &syntax) {
		text = syntax.Message
		if syntax.Token != nil {
			at = positionOf(syntax.Token)
		}
	}
	if strings.HasPrefix(text, "mapping value is not allowed") {
		instead = "put a text with a colon between quotes, and indent what belongs to a key"
	}
	return s.problem(at, "cannot be read as YAML: "+cutLong(text), instead)
}

func positionOf(t *token.Token) Position {
	return Position{max(1, t.Position.Line), max(1, t.Position.Column)}
}

// refusedTokens are the parts of YAML that a site file does without: each is a
// way to say less plainly, or to blow up, what can be written out.
var refusedTokens = map[token.Type][2]string{
	token.AnchorType:     {"an anchor (&) is not allowed", "write the value out"},
	token.AliasType:      {"an alias (*) is not allowed", "write the value out"},
	token.MergeKeyType:   {"a merge key (<<) is not allowed", "write the keys out"},
	token.TagType:        {"a tag (!) is not allowed", "write the value alone"},
	token.DirectiveType:  {"a directive (%) is not allowed", "delete it"},
	token.MappingKeyType: {"an explicit key (?) is not allowed", "write \"key: value\""},
}

// inspect looks at the tokens for refused parts, several documents and absurd
// nesting.
func (s *source) inspect(tokens token.Tokens) Problems {
	if len(tokens) > maxTokens {
		return Problems{s.problem(Position{1, 1}, fmt.Sprintf("more than %d words and signs", maxTokens), "split the plant into several sites")}
	}
	var problems Problems
	var depth nesting
	started, ended, empty := false, false, 0
	told := map[token.Type]bool{}
	for _, t := range tokens {
		if refused, ok := refusedTokens[t.Type]; ok && !told[t.Type] {
			told[t.Type] = true // the first of each kind shows what is meant
			problems = append(problems, s.problem(positionOf(t), refused[0], refused[1]))
		}
		switch t.Type {
		case token.CommentType:
			continue
		case token.DocumentEndType:
			ended = true
			continue
		case token.DocumentHeaderType:
			ended = ended || started
		}
		if ended {
			return append(problems, s.problem(positionOf(t), "a second document begins", "one site a file: delete it, or move it to its own file"))
		}
		started = true
		if lacksValue(t) {
			empty++
		}
		if empty > maxEmpty {
			return append(problems, s.problem(positionOf(t), fmt.Sprintf("more than %d keys without a value", maxEmpty), "write the values, or delete the keys"))
		}
		if depth.take(t) > maxDepth {
			return append(problems, s.problem(positionOf(t), fmt.Sprintf("nested more than %d deep", maxDepth), "a site needs no more than five levels"))
		}
	}
	return problems.sorted()
}

// lacksValue reports that nothing stands behind a colon.
func lacksValue(colon *token.Token) bool {
	next := colon.Next
	for next != nil && next.Type == token.CommentType {
		next = next.Next
	}
	switch {
	case colon.Type != token.MappingValueType || colon.Prev == nil:
		return false
	case next == nil || next.Type == token.MappingEndType || next.Type == token.SequenceEndType || next.Type == token.CollectEntryType:
		return true
	}
	return next.Position.Line > colon.Position.Line && next.Position.Column <= colon.Prev.Position.Column && next.Type != token.SequenceEntryType
}

// nesting follows how deep the tokens are: flow brackets, and in block style
// the rising columns of keys and list dashes.
type nesting struct {
	flow    int
	columns []int
}

func (n *nesting) take(t *token.Token) int {
	switch t.Type {
	case token.SequenceStartType, token.MappingStartType:
		n.flow++
	case token.SequenceEndType, token.MappingEndType:
		n.flow = max(0, n.flow-1)
	case token.SequenceEntryType, token.MappingValueType:
		if n.flow > 0 {
			break
		}
		column := t.Position.Column
		if t.Type == token.MappingValueType && t.Prev != nil {
			column = t.Prev.Position.Column // the key's
		}
		for len(n.columns) > 0 && n.columns[len(n.columns)-1] >= column {
			n.columns = n.columns[:len(n.columns)-1]
		}
		n.columns = append(n.columns, column)
	}
	return n.flow + len(n.columns)
}

// kind is the shape of a node.
type shape uint8

const (
	nothing shape = iota // no value, or null
	scalar
	mapping
	list
)

// node is one value of the file, freed from the library's types.
type node struct {
	shape   shape
	text    string // scalar: unquoted
	quoted  bool
	at      Position // of its first character
	entries []entry
	items   []*node
}

type entry struct {
	key   string
	at    Position
	value *node
}

type builder struct {
	src      *source
	problems Problems
}

func (b *builder) build(n ast.Node) *node {
	if n == nil {
		return &node{at: Position{1, 1}}
	}
	at := positionOf(n.GetToken())
	switch n := n.(type) {
	case *ast.NullNode:
		return &node{shape: nothing, at: at}
	case *ast.MappingNode:
		return b.mapping(n.Values, at)
	case *ast.MappingValueNode:
		return b.mapping([]*ast.MappingValueNode{n}, at)
	case *ast.SequenceNode:
		made := &node{shape: list, at: at}
		for _, item := range n.Values {
			made.items = append(made.items, b.build(item))
		}
		return made
	case *ast.LiteralNode:
		return &node{shape: scalar, text: n.Value.Value, at: at}
	case *ast.StringNode:
		quoted := n.Token.Type == token.SingleQuoteType || n.Token.Type == token.DoubleQuoteType
		return &node{shape: scalar, text: n.Value, quoted: quoted, at: at}
	}
	// Numbers and booleans are texts here: each field says what it takes.
	return &node{shape: scalar, text: n.GetToken().Value, at: at}
}

func (b *builder) mapping(values []*ast.MappingValueNode, at Position) *node {
	made := &node{shape: mapping, at: at}
	for _, v := range values {
		key := v.Key.GetToken()
		made.entries = append(made.entries, entry{key: key.Value, at: positionOf(key), value: b.build(v.Value)})
	}
	if len(made.entries) > 0 && b.src.at(at) != '{' {
		made.at = made.entries[0].at
	}
	return made
}

// at is the character at a position; 0 outside of the text.
func (s *source) at(p Position) rune {
	if p.Line < 1 || p.Line > len(s.lines) || p.Column < 1 || p.Column > len(s.lines[p.Line-1]) {
		return 0
	}
	return s.lines[p.Line-1][p.Column-1]
}

// within is where the character at a column of a scalar's text stands in the
// file, however the scalar is quoted or folded over lines: both have the same
// characters between the blanks.
func (s *source) within(n *node, column int) Position {
	runes := []rune(n.text)
	skip := 0
	for _, r := range runes[:min(max(column-1, 0), len(runes))] {
		if !blank(r) {
			skip++
		}
	}
	at := n.at
	switch s.at(at) {
	case '>', '|':
		at = Position{at.Line + 1, 1}
	case '\'', '"':
		if n.quoted {
			at.Column++
		}
	}
	last := at
	for at.Line <= len(s.lines) {
		r := s.at(at)
		if r == 0 {
			at = Position{at.Line + 1, 1}
			continue
		}
		if !blank(r) {
			if skip == 0 {
				return at
			}
			skip--
			last = Position{at.Line, at.Column + 1}
			if skip == 0 && column > len(runes) {
				return last // the text ends too early: just behind it
			}
		}
		at.Column++
	}
	return last
}

func blank(r rune) bool { return r == ' ' || r == '\t' || r == '\n' }
