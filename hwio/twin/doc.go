// Package twin plays hardware: lines with relay modules, input modules, resistance transmitters, decades and meters behind
// them, well enough that everything in hwio can be learnt and tested without any.
//
// Think of a flight simulator's cockpit: every knob answers as the real one does, with the same dead times, and behind the
// panel there is a program.
//
// One Hardware has any number of lines and one event loop (a single goroutine) that does everything in order of time: what
// arrives is served when its last byte would be off the wire, answers go out when they would be complete, contacts follow
// their coils after their operate time. An Environment, given by the caller, is what hangs behind the terminals; only the
// event loop calls it, so it needs no locks.
//
// Devices can be made to misbehave, by seeded dice, one stream per line and kind: lost questions, lost answers, late
// answers, flipped bits, noise in front, an echo; and lines can be unplugged, plugged in again and stalled. A module's
// relays fall when nobody has spoken to it for its Silence; with Silence zero they do not, which a proof must catch.
//
// The twin keeps a history of every coil and input that moved, with its time: the truth that a measurement is held against.
//
// Lines are pseudo-terminals, which any program can open and which need Linux (Terminals says whether they are there), or lie
// in the memory of this program; then nothing but Go's own timers keeps time, and a test may put them on a fake clock.
package twin
