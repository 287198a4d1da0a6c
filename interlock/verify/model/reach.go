package model

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock"
)

// Needed lists the channels of an output's permissive that are in a cut set.
func (m *Model) Needed(output int) []int {
	var list []int
	for _, set := range CutSets(m.Config.Outputs[output].Permissive) {
		for _, cause := range set {
			if cause < len(m.Config.Channels) && !slices.Contains(list, cause) {
				list = append(list, cause)
			}
		}
	}
	return list
}

// ChannelsOf lists the channels in an output's permissive, or those that show a
// vessel's bond: with one of these in full detail all others are free, so that to
// go through the others as well would show nothing more of the wait.
func (m *Model) ChannelsOf(output, vessel int) []int {
	set := m.Config.Outputs[output].Permissive.Causes()
	if vessel >= 0 {
		set = m.Config.Vessels[vessel].BondedBy.Causes()
	}
	var list []int
	set.Each(func(cause int) {
		if cause < len(m.Config.Channels) {
			list = append(list, cause)
		}
	})
	return list
}

// Cone is every cause that can touch a running output: computed from how the
// parts are linked, never declared.
func (m *Model) Cone(output int) map[int]bool {
	c := m.Config
	cone := map[int]bool{}
	input := func(ref interlock.Ref) {
		if ref != 0 {
			cone[len(c.Channels)+int(ref)-1] = true
		}
	}
	var visit func(o int)
	seen := map[int]bool{}
	visit = func(o int) {
		if seen[o] {
			return
		}
		seen[o] = true
		out := &c.Outputs[o]
		set := out.Permissive.Causes()
		set.Each(func(cause int) {
			cone[cause] = true
			if cause < len(c.Channels) {
				input(c.Channels[cause].Evidence)
			}
		})
		for i := range c.Bypasses {
			if cone[c.Bypasses[i].Channel] {
				input(c.Bypasses[i].Input)
			}
		}
		for _, ref := range [...]interlock.Ref{out.Stop, out.Closed, out.Opened, out.Reset, out.Start} {
			input(ref)
		}
		for _, caller := range c.CallersOf(o) {
			visit(caller)
		}
	}
	visit(output)
	return cone
}

// InSeries lists the outputs of the first stream through an output, but for it.
func (m *Model) InSeries(output int) []int {
	streams := m.Config.StreamsOf(output)
	if len(streams) == 0 {
		return nil
	}
	var list []int
	for _, o := range m.Config.Streams[streams[0]].Through {
		if o != output && !slices.Contains(list, o) {
			list = append(list, o)
		}
	}
	return list
}

// BypassesOf lists the bypasses of the channels that an output needs.
func (m *Model) BypassesOf(output int) (list []int) {
	needed := m.Needed(output)
	for i := range m.Config.Bypasses {
		if slices.Contains(needed, m.Config.Bypasses[i].Channel) {
			list = append(list, i)
		}
	}
	return list
}

// WithoutBond says that properties of bonds do not apply to an output: it reads
// no channel, and charges nothing, like a blower that clears the line, or only
// what another output in series guards, like a pump behind valves.
func (m *Model) WithoutBond(output int) bool {
	if len(m.ChannelsOf(output, -1)) > 0 {
		return false
	}
	c := m.Config
	for _, st := range c.StreamsOf(output) {
		guarded := len(c.Streams[st].Charges) == 0
		for _, o := range c.Streams[st].Through {
			guarded = guarded || len(m.Needed(o)) > 0
		}
		if !guarded {
			return false
		}
	}
	return true
}

// LeftOut says which causes of an output's permissive are in none of the cut sets that
// were worked out, where those are not all; empty where they are.
func (m *Model) LeftOut(output int) string {
	p := m.Config.Outputs[output].Permissive
	sets, all := AllCutSets(p)
	if all {
		return ""
	}
	var names []string
	causes := p.Causes()
	causes.Each(func(cause int) {
		if !slices.ContainsFunc(sets, func(set []int) bool { return slices.Contains(set, cause) }) {
			names = append(names, m.Cause(cause))
		}
	})
	if len(names) == 0 {
		return fmt.Sprintf("more than %d minimal cut sets: only some were looked at", MaxCuts)
	}
	return fmt.Sprintf("more than %d minimal cut sets: %s are in none that was looked at", MaxCuts, strings.Join(names, ", "))
}
