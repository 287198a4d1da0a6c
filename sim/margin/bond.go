package margin

import (
	"slices"
	"strings"

	"ohmgate/interlock"
)

// mostCases bounds the search for a case in which a permissive holds without
// the bond. Permissives are short; one that needs more is told as not shown.
const mostCases = 200_000

// finding is how a search for a case ended.
type finding uint8

const (
	cutOff finding = iota // not decided
	none                  // there is no such case
	found
)

// search looks for values of the causes with which every permissive is true and
// the bond is not. Without a bond only the permissives count.
type search struct {
	all    []interlock.Permissive
	bond   interlock.Permissive
	values []interlock.Truth
	order  []int // causes that are still free
	cases  int
}

func (b *bench) search(all []interlock.Permissive, bond interlock.Permissive, lost []int) *search {
	s := &search{all: all, bond: bond, values: make([]interlock.Truth, b.site.Causes())}
	var free interlock.CauseSet
	for _, p := range append(slices.Clone(all), bond) {
		causes := p.Causes()
		causes.Each(func(cause int) { free.Add(cause) })
	}
	for _, cause := range lost {
		s.values[cause] = interlock.False
	}
	free.Each(func(cause int) {
		if !slices.Contains(lost, cause) {
			s.order = append(s.order, cause)
		}
	})
	return s
}

func (s *search) run() finding { return s.try(0) }

// try goes on from the first n causes being decided; a value that is certain
// already ends the branch.
func (s *search) try(n int) finding {
	if s.cases++; s.cases > mostCases {
		return cutOff
	}
	allowed := interlock.True
	for _, p := range s.all {
		allowed = min(allowed, p.Eval(s.values))
	}
	bonded := interlock.False
	if len(s.bond) > 0 {
		bonded = s.bond.Eval(s.values)
	}
	switch {
	case allowed == interlock.False || bonded == interlock.True:
		return none
	case allowed == interlock.True && bonded == interlock.False:
		return found
	case n == len(s.order):
		return none
	}
	cause := s.order[n]
	result := none
	for _, value := range []interlock.Truth{interlock.False, interlock.True} {
		s.values[cause] = value
		switch s.try(n + 1) {
		case found:
			return found
		case cutOff:
			result = cutOff
		}
	}
	s.values[cause] = interlock.Unknown
	return result
}

// example names the causes that are true in the case that was found.
func (s *search) example(name func(int) string) string {
	var on []string
	for cause, value := range s.values {
		if value == interlock.True {
			on = append(on, name(cause))
		}
	}
	if len(on) == 0 {
		return "whatever the causes are"
	}
	return "with " + strings.Join(on, ", ") + " true"
}

// stops are the outputs of the node's stream that trip, whatever else is true,
// when its bond is lost; the last bool says whether anything was left open.
func (b *bench) stops(nd *node) (list []int, open bool) {
	if len(nd.channels) == 0 {
		return nil, false
	}
	for _, name := range nd.stream.Through {
		output := b.site.OutputIndex(name)
		s := b.search([]interlock.Permissive{b.config.Outputs[output].Permissive}, nil, nd.channels)
		switch s.run() {
		case none:
			list = append(list, output)
		case cutOff:
			open = true
		}
	}
	// A tripped output may call others at once.
	for k := 0; k < len(list); k++ {
		o := &b.config.Outputs[list[k]]
		for _, backup := range o.Backup {
			if o.AtOnce && !slices.Contains(list, backup) && b.through(nd, backup) {
				list = append(list, backup)
			}
		}
	}
	return list, open
}

func (b *bench) through(nd *node, output int) bool {
	return slices.Contains(nd.stream.Through, b.site.Outputs[output].Name)
}
