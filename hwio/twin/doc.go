// Package twin is a rehearsal room: pseudo-terminals behind which actors play relay modules, input modules, resistance
// transmitters, decades and meters, well enough that everything in hwio can be learnt and tested without hardware.
//
// One Room has any number of lines and one stage manager (a single goroutine) who does everything in order of time: what
// arrives is served when its last byte would be off the wire, answers go out when they would be complete, contacts follow
// their coils after their operate time. A World, given by the caller, is what hangs behind the terminals; it is only ever
// called by the stage manager, so it needs no locks.
//
// The actors can be made to misbehave, by seeded dice, one stream per line and kind: lost questions, lost answers, late
// answers, flipped bits, noise in front, an echo; and lines can be unplugged, plugged in again and stalled. A module's
// relays fall when nobody has spoken to it for its Silence; with Silence zero they do not, which a proof must catch.
//
// The twin keeps a history of every coil and input that moved, with its time: the truth that a measurement is held against.
//
// Pseudo-terminals need Linux; elsewhere Open says so.
package twin
