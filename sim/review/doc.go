// Package review reads a site as a careful colleague would who was not there
// when it was written: every line against a list of what has gone wrong before.
//
// Picture a checklist on a clipboard. Each entry has a number that never
// changes, says why it is on the list and who says so, and what to do about it.
// The colleague walks along the plant with it, ticks, and hands back the open
// points with the line of the file where each of them stands.
//
//	rule.go       what an entry is; the whole list
//	subject.go    the site with everything that was computed from it
//	decide.go     whether an expression can be true while another is not
//	threshold.go  limits, leads, floors
//	instrument.go dissipative channels, transmitters, sampling against rotation
//	timing.go     patience, doubt, settling, polls
//	evidence.go   what a reading does not show, stamps, faults nobody sees
//	logic.go      permissives: what gates what
//	press.go      restart, reset, buttons, bypass
//	confirm.go    end switches, travel, backups
//	stream.go     velocity, filters, phases, run-down
//	vessel.go     wait, rest, what ignites, parts
//	answers.go    requirement block, ignition sources, margin, rig, suppressions
//	report.go     findings, suppressions, verdict
//	text.go       what people read
//
// A finding is no proof of anything, and no finding is none either: the list
// holds what can be seen in the file.
package review
