// Package rig is the bench: one order carried out on hardware, from the head of its record to the relays that are open again.
//
// Think of a test engineer with a stop-watch who does not trust the stop-watch. Before the first measurement every wire is
// tried alone, the watch is checked two hundred times against a plain wire, and the engineer falls silent once to see
// whether the relays let go by themselves. Every time is written down as "not before, not after". When the run ends, however
// it ends, the relays are opened, and it is read back that they are.
//
//	wiring    which relay is which clamp, button or end switch, and which input is which contact of the unit under test
//	stimulus  what such wires can show a unit, and what not; a scenario run dry before anything moves
//	bench     the opened lines, modules and instruments: moved, read, checked, let go
//	play      one run: the program plays the plant, or stands in for the unit, or listens
//	judge     what was seen, held against the logic and its bounds
//	analyse   a logic analyser's record, where milliseconds matter
//	interval  moments and times as intervals, which all of them speak of
//	twinbench the rig without hardware: a twin wired as the map says
//
// Arrows go one way: rig -> play -> bench, stimulus, judge -> wiring; analyse -> judge; and nobody but rig knows play.
//
// The package decides nothing about safety: the reference that a unit is held against is the logic itself, turned through
// interlock/loop; the plant comes from the caller through loop.Source. A time here is an interval or nothing.
package rig
