package opinion

import (
	"fmt"
	"strings"
)

// expanded is the body with its three shorthands written out: `up` counts one
// scan in a counter's cells, `pick` reads what is left of an expression,
// `judge` demands the properties.
func (s *Source) expanded() []string {
	var out []string
	for _, line := range s.body {
		indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
		fields := strings.Fields(line)
		var more []string
		switch fields[0] {
		case "up":
			more = s.up(fields[1])
		case "pick":
			more = pick(fields[1], s.left[fields[2]], fields[3], fields[5])
		case "judge":
			for _, n := range s.judged {
				more = append(more, fmt.Sprintf("demand %s", n))
			}
		default:
			more = []string{fields[0] + strings.TrimPrefix(strings.TrimLeft(line, " "), fields[0])}
		}
		for _, m := range more {
			out = append(out, indent+m)
		}
	}
	return out
}

// up: from the last value of its cell a counter goes on to the next cell; from
// any other it stays. Cells of one value, and the saturated end, have no choice.
// Where every value is its own cell, it just counts.
func (s *Source) up(name string) []string {
	c := s.counters[name]
	if c.exact {
		return []string{fmt.Sprintf("if %s < %d", name, c.top), fmt.Sprintf("  %s := %s + 1", name, name), "end"}
	}
	var out []string
	word := "if"
	for i, v := range c.first {
		then := fmt.Sprintf("  %s := %d", name, c.cellOf(min(v+1, c.top)))
		if c.last(i) > v {
			next := c.cellOf(min(c.last(i)+1, c.top))
			out = append(out, fmt.Sprintf("%s %s == %d && last_%s == 1", word, name, v, name), fmt.Sprintf("  %s := %d", name, next))
			word = "elif"
		}
		out = append(out, fmt.Sprintf("%s %s == %d", word, name, v), then)
		word = "elif"
	}
	return append(out, "end")
}

// pick reads one of the things that can be left of an expression, at a truth.
func pick(to string, left [][3]uint8, at, which string) []string {
	var out []string
	word := "if"
	for n, values := range left {
		for truth, value := range values {
			when := fmt.Sprintf("%s %s == %d", word, at, truth)
			if len(left) > 1 {
				when += fmt.Sprintf(" && %s == %d", which, n)
			}
			out = append(out, when, fmt.Sprintf("  %s := %d", to, value))
			word = "elif"
		}
	}
	return append(out, "end")
}
