package margin

import (
	"ohmgate/interlock/site"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Where an input comes from.
const (
	FromFile    = "file"       // as the site file says
	FromLogic   = "logic"      // computed from the site's own times
	FromResult  = "calculated" // from other inputs of the list
	FromDefault = "default"    // nobody said; Why tells the source
)

// Known is one input of a calculation and where it comes from.
type Known struct {
	Name string `json:"name"`
	// Value is nil for what is no number; then Text says it.
	Value *interval.Interval `json:"value,omitempty"`
	Text  string             `json:"text,omitempty"`
	Unit  string             `json:"unit,omitempty"`
	From  string             `json:"from"`
	// Path is the key of the site file, also where the file is silent: there the
	// better value belongs.
	Path string `json:"path,omitempty"`
	Why  string `json:"why,omitempty"`
}

// notes collects inputs in the order in which they are used.
type notes struct{ list []Known }

func (n *notes) add(name string, value interval.Interval, unit, from, path, why string) interval.Interval {
	n.list = append(n.list, Known{Name: name, Value: &value, Unit: unit, From: from, Path: path, Why: why})
	return value
}

// word takes a default that is no number.
func (n *notes) word(name, text, path, why string) {
	n.list = append(n.list, Known{Name: name, Text: text, From: FromDefault, Path: path, Why: why})
}

// file takes a span of the site file.
func (n *notes) file(name string, s site.Span, unit, path string) interval.Interval {
	return n.add(name, of(s), unit, FromFile, path, "")
}

// fact takes a default with its source.
func (n *notes) fact(name string, f charge.Fact, value interval.Interval, path string) interval.Interval {
	why := f.Cite()
	if f.Note != "" {
		why += "; " + f.Note
	}
	return n.add(name, value, f.Unit, FromDefault, path, why)
}

// assume takes a default of common practice.
func (n *notes) assume(name string, value interval.Interval, unit, path, why string) interval.Interval {
	return n.add(name, value, unit, FromDefault, path, why)
}

func (n *notes) result(name string, value interval.Interval, unit, why string) interval.Interval {
	return n.add(name, value, unit, FromResult, "", why)
}

// of is a span as an interval; a silent one is a 0 that callers must not use.
func of(s site.Span) interval.Interval { return interval.Interval{Lo: s.Lo, Hi: s.Hi} }

// upTo is the interval from 0.
func upTo(hi float64) interval.Interval { return interval.Interval{Lo: 0, Hi: hi} }
