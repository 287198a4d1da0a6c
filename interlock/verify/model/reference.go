package model

import (
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Reference is a small site with one of everything, for the self-check: clamps
// with evidence, a vote, a start, a stop, a confirmation with a backup, a vessel
// with a wait and a flow switch, a bypass. Its times are short, so that every
// mutant is searched in a moment.
func Reference() (*Model, error) {
	channel := monitor.Config{
		Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
		StaleAfter: 2, SettleScans: 8, SettleReadings: 6, SettlePause: 2,
		Full: 24, Cost: [monitor.Classes]monitor.Parts{8, 8, 24, 6, 0, 0}, Repay: 2, LongestStay: 30,
	}
	press := interlock.Press{Min: 3, Max: 20}
	const bond1, bond2, bond3 = 0, 1, 2
	const here, reset, start, stop, closed, acknowledge, flow, key, resetPump, resetMixer = 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
	cause := func(n int) interlock.Node { return interlock.Node{Op: interlock.OpCause, Cause: n} }
	and := func(causes ...int) interlock.Permissive {
		var p interlock.Permissive
		var args []int
		for i, c := range causes {
			p, args = append(p, cause(c)), append(args, i)
		}
		if len(causes) == 1 {
			return p
		}
		return append(p, interlock.Node{Op: interlock.OpAnd, Args: args})
	}
	vote := append(and(bond1, bond2, bond3)[:3:3], interlock.Node{Op: interlock.OpVote, M: 2, Args: []int{0, 1, 2}})
	c := &interlock.Config{
		PollScans: 2,
		Channels:  []interlock.Channel{{Config: channel, Evidence: here}, {Config: channel}, {Config: channel}},
		Inputs:    make([]interlock.Input, resetMixer),
		Outputs: []interlock.Output{
			{Permissive: and(bond1, bond3), OnDelay: 3, Reset: reset, Press: press, Stop: stop, Closed: closed, Travel: 12, Backup: []int{1}},
			{Permissive: and(bond1, bond2), Reset: resetPump, Press: press},
			{Permissive: vote, Reset: resetMixer, Press: press, Start: start},
		},
		Vessels:  []interlock.Vessel{{BondedBy: and(bond1, bond3), Wait: 40, Rest: 10, Acknowledge: acknowledge, Press: press}},
		Streams:  []interlock.Stream{{Through: []int{0, 1}, Charges: []int{0}, Flow: flow, RunDown: 8}},
		Bypasses: []interlock.Bypass{{Input: key, Channel: bond3, For: 50, Warn: 10, Gap: 15}},
	}
	for i := range c.Inputs {
		c.Inputs[i].StaleAfter = 2
	}
	m := &Model{Site: "reference", Config: c, PeriodMin: 10 * time.Millisecond, PeriodMax: 10 * time.Millisecond, Names: Names{
		Channels: []string{"bond_1", "bond_2", "bond_3"},
		Inputs:   []string{"here", "reset", "start", "stop", "closed", "acknowledge", "flow", "key", "reset_pump", "reset_mixer"},
		Outputs:  []string{"valve", "pump", "mixer"}, Vessels: []string{"car"}, Streams: []string{"product"}, Bypasses: []string{"bypass"},
	}}
	return m, c.Compile()
}
