package interlock

import (
	"fmt"
	"strconv"
	"strings"
)

// Op is what one node of a permissive does.
type Op uint8

const (
	OpCause Op = iota // the value of a channel or an input
	OpNot
	OpAnd
	OpOr
	OpXor
	OpVote // at least M of its arguments
)

// Node is one node of a permissive; Args are the numbers of earlier nodes.
type Node struct {
	Op     Op
	Cause  int // OpCause: the cause's number
	M      int // OpVote
	Args   []int
	Column int // where it stands in the text, counted in characters from 1
}

// Permissive is a boolean expression over causes: the boolean subset of
// IEC 61131-3 Structured Text plus the trade's voting form. The last node is
// the result. The empty permissive is Unknown: nothing shown, nothing allowed.
type Permissive []Node

// SyntaxError says where a permissive cannot be read and what would do instead.
type SyntaxError struct {
	Column  int // in characters, from 1
	Text    string
	Instead string
}

func (e *SyntaxError) Error() string {
	return fmt.Sprintf("column %d: %s; %s", e.Column, e.Text, e.Instead)
}

// Eval is the permissive's value when value[n] is that of cause n.
func (p Permissive) Eval(value []Truth) Truth {
	if len(p) == 0 {
		return Unknown
	}
	return p.eval(len(p)-1, value)
}

func (p Permissive) eval(at int, value []Truth) Truth {
	n := &p[at]
	switch n.Op {
	case OpCause:
		return value[n.Cause]
	case OpNot:
		return p.eval(n.Args[0], value).not()
	case OpXor:
		return -(p.eval(n.Args[0], value) * p.eval(n.Args[1], value))
	case OpAnd:
		result := True
		for _, arg := range n.Args {
			result = min(result, p.eval(arg, value))
		}
		return result
	case OpOr:
		result := False
		for _, arg := range n.Args {
			result = max(result, p.eval(arg, value))
		}
		return result
	case OpVote:
		return p.vote(n, value)
	}
	return Unknown
}

// vote is true when enough arguments are true whatever the unknown ones are,
// false when too few could ever be.
func (p Permissive) vote(n *Node, value []Truth) Truth {
	shown, possible := 0, 0
	for _, arg := range n.Args {
		switch p.eval(arg, value) {
		case True:
			shown++
			possible++
		case Unknown:
			possible++
		}
	}
	switch {
	case shown >= n.M:
		return True
	case possible < n.M:
		return False
	}
	return Unknown
}

// Culprits adds to the set every cause that keeps the permissive from being
// true.
func (p Permissive) Culprits(value []Truth, set *CauseSet) {
	if len(p) > 0 {
		p.culprits(len(p)-1, True, value, set)
	}
}

func (p Permissive) culprits(at int, want Truth, value []Truth, set *CauseSet) {
	n := &p[at]
	if p.eval(at, value) == want {
		return
	}
	if n.Op == OpCause {
		set.Add(n.Cause)
		return
	}
	for _, arg := range n.Args {
		switch n.Op {
		case OpNot:
			p.culprits(arg, want.not(), value, set)
		case OpXor:
			own, whole := p.eval(arg, value), p.eval(at, value)
			if own == Unknown {
				p.culprits(arg, True, value, set)
			} else if whole != Unknown { // either argument could have made the difference
				p.culprits(arg, own.not(), value, set)
			}
		default:
			p.culprits(arg, want, value, set)
		}
	}
}

// Causes is the set of all causes that the permissive reads.
func (p Permissive) Causes() CauseSet {
	var set CauseSet
	for i := range p {
		if p[i].Op == OpCause {
			set.Add(p[i].Cause)
		}
	}
	return set
}

// maxNodes and maxDepth bound a permissive; a formula beyond them is no longer
// one that people can check.
const (
	maxNodes = 4096
	maxDepth = 64
)

// ParsePermissive reads an expression; find gives the number of a named cause.
// Keywords are in any case, as in IEC 61131-3; names are as declared.
// Precedence, strongest first: NOT, AND, XOR, OR.
func ParsePermissive(text string, find func(name string) (cause int, ok bool)) (Permissive, error) {
	p := parser{find: find}
	p.scan(text)
	p.expression(0) // its last node is the result
	if p.err == nil && p.at < len(p.tokens) {
		p.fail(p.tokens[p.at].column, "unexpected "+strconv.Quote(p.tokens[p.at].text), "join two terms with AND, OR or XOR")
	}
	if p.err != nil {
		return nil, p.err
	}
	return p.nodes, nil
}

type token struct {
	text   string
	column int
}

type parser struct {
	find   func(string) (int, bool)
	tokens []token
	at     int
	depth  int
	nodes  Permissive
	err    *SyntaxError
}

func (p *parser) fail(column int, text, instead string) {
	if p.err == nil {
		p.err = &SyntaxError{column, text, instead}
	}
}

// scan cuts the text into names, signs and parentheses.
func (p *parser) scan(text string) {
	runes := []rune(text)
	for i := 0; i < len(runes); {
		r := runes[i]
		start := i
		switch {
		case r == ' ' || r == '\t' || r == '\n' || r == '\r':
			i++
			continue
		case r == '(' || r == ')' || r == ',' || r == '&':
			i++
		case isWord(r):
			for i < len(runes) && isWord(runes[i]) {
				i++
			}
		default:
			p.fail(i+1, "cannot read "+strconv.QuoteRune(r), "use names, AND, OR, XOR, NOT, 2oo3(a, b, c) and parentheses")
			return
		}
		p.tokens = append(p.tokens, token{string(runes[start:i]), start + 1})
	}
	p.tokens = p.tokens[:len(p.tokens):len(p.tokens)]
}

func isWord(r rune) bool {
	return r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
}

// peek is the next token in capitals, empty at the end.
func (p *parser) peek() string {
	if p.err != nil || p.at >= len(p.tokens) {
		return ""
	}
	return strings.ToUpper(p.tokens[p.at].text)
}

func (p *parser) column() int {
	if p.at < len(p.tokens) {
		return p.tokens[p.at].column
	}
	if len(p.tokens) == 0 {
		return 1
	}
	last := p.tokens[len(p.tokens)-1]
	return last.column + len(last.text)
}

func (p *parser) add(n Node) int {
	if len(p.nodes) >= maxNodes {
		p.fail(n.Column, "the expression is too long", "split it over several outputs")
		return 0
	}
	p.nodes = append(p.nodes, n)
	return len(p.nodes) - 1
}

// binary lists the operators from the weakest to the strongest, each with its
// word and its sign, if it has one.
var binary = [...]struct {
	word, sign string
	op         Op
}{{"OR", "", OpOr}, {"XOR", "", OpXor}, {"AND", "&", OpAnd}}

// expression reads one level of precedence.
func (p *parser) expression(level int) int {
	if level == len(binary) {
		return p.term()
	}
	column := p.column()
	args := []int{p.expression(level + 1)}
	for links := 1; p.isOperator(level); links++ {
		if binary[level].op == OpXor && links >= maxDepth {
			p.fail(p.column(), "too many terms joined by XOR", "split the expression")
		}
		p.at++
		args = append(args, p.expression(level+1))
		if binary[level].op == OpXor { // two at a time, from the left
			args = []int{p.add(Node{Op: OpXor, Args: args, Column: column})}
		}
	}
	if len(args) == 1 {
		return args[0]
	}
	return p.add(Node{Op: binary[level].op, Args: args, Column: column})
}

func (p *parser) isOperator(level int) bool {
	next := p.peek()
	return next == binary[level].word || next != "" && next == binary[level].sign
}

// term reads a name, a negation, a vote or a parenthesis.
func (p *parser) term() int {
	p.depth++
	defer func() { p.depth-- }()
	column := p.column()
	word := p.peek()
	switch {
	case p.depth > maxDepth:
		p.fail(column, "nested too deeply", "split the expression")
	case word == "":
		p.fail(column, "the expression ends too early", "write a term such as bond_1")
	case word == "NOT":
		p.at++
		return p.add(Node{Op: OpNot, Args: []int{p.term()}, Column: column})
	case word == "(":
		p.at++
		inner := p.expression(0)
		p.expect(")")
		return inner
	case isVote(word):
		return p.votes(word, column)
	case word == ")" || word == "," || word == "&" || word == "AND" || word == "OR" || word == "XOR":
		p.fail(column, "a term is missing before "+strconv.Quote(p.tokens[p.at].text), "write a term such as bond_1")
	default:
		return p.name(column)
	}
	return 0
}

func (p *parser) name(column int) int {
	name := p.tokens[p.at].text
	cause, ok := p.find(name)
	if !ok {
		p.fail(column, "no channel or input is called "+strconv.Quote(name), "declare it, or correct the name")
	}
	p.at++
	return p.add(Node{Op: OpCause, Cause: cause, Column: column})
}

func (p *parser) expect(sign string) {
	if p.peek() != sign {
		p.fail(p.column(), "expected "+strconv.Quote(sign), "close what was opened")
		return
	}
	p.at++
}

// isVote recognises 2OO3 and its like.
func isVote(word string) bool {
	m, n, found := strings.Cut(word, "OO")
	return found && isNumber(m) && isNumber(n)
}

func isNumber(s string) bool {
	_, err := strconv.ParseUint(s, 10, 16)
	return err == nil
}

// votes reads MooN(a, b, …).
func (p *parser) votes(word string, column int) int {
	m, n, _ := strings.Cut(word, "OO")
	need, _ := strconv.Atoi(m)
	of, _ := strconv.Atoi(n)
	p.at++
	p.expect("(")
	var args []int
	for p.err == nil {
		args = append(args, p.expression(0))
		if p.peek() != "," {
			break
		}
		p.at++
	}
	p.expect(")")
	switch {
	case p.err != nil:
	case len(args) != of:
		p.fail(column, fmt.Sprintf("%s lists %d terms", strings.ToLower(word), len(args)), fmt.Sprintf("list exactly %d", of))
	case need < 1 || need > of:
		p.fail(column, fmt.Sprintf("%s can not be met by choice", strings.ToLower(word)), "the first number goes from 1 to the second")
	}
	return p.add(Node{Op: OpVote, M: need, Args: args, Column: column})
}
