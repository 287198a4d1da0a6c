// Package rig is the bench: it knows which relay is which clamp, button or end switch, and which input is which contact of
// the unit under test, plays what a plant would do, and writes down when the unit answered.
//
// Think of a test engineer with a stop-watch who does not trust the stop-watch. Before the first measurement every wire is
// tried alone, the watch is checked two hundred times against a plain wire, and the engineer falls silent once to see
// whether the relays let go by themselves. Every time is written down as "not before, not after". When the run ends, however
// it ends, the relays are opened, and it is read back that they are.
//
//	map.go          the site's rig section, resolved and checked; points.go what is wired to what
//	calibration.go  what the decade really gives, and when a limit test is worth nothing
//	load.go         how long one cycle of the bus takes
//	bench.go        open lines, modules and instruments; drive.go moves them; release.go lets go of them
//	selftest.go     one relay, one input, nothing else; latency.go the loop-back run; silence.go relays fall
//	timing.go       intervals and their judgement; bound.go what they are held against; judge.go step by step
//	rehearsal.go    what a scenario will ask of the rig, found out before anything moves
//	stimulate.go    the program plays the plant; standin.go it plays the unit; listen in the same file
//	analyser.go     a logic analyser's record, where milliseconds matter
//	coverage.go     which transitions have been seen, and what would show the rest
//
// Wiring that the map assumes. A relay that is not energised is an open contact, so that a rig without power shows the unit
// open loops and released buttons. A channel of the unit has its decade or its fixed resistors behind the contact of the
// relay called series-break: open, the loop is broken. A relay called short bridges the terminals. A relay that drives an
// input gives it the level 1 when closed. A loopback input is wired to a second contact of the relay that drives that name.
//
// The package decides nothing about safety: the reference that a unit is held against is the logic itself, turned through
// interlock/loop; the plant comes from the caller through loop.Source. A time here is an interval or nothing.
package rig
