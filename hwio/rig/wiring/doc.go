// Package wiring is the rig map: which relay is which clamp, button or end switch, and which input is which contact of the
// unit under test, by the names of the site.
//
// Think of the label on every terminal of a switchboard. Nothing here is plugged in; but whoever reads the labels finds out
// that two wires share a screw before the supply is on.
//
//	map.go          the site's rig section, resolved and checked; points.go what is wired to what
//	cone.go         everything that can move an output; needs.go what must be wired to play to it, or to stand in for it
//	calibration.go  what the decade really gives, and when a limit test is worth nothing
//	load.go         how long one cycle of the bus takes, in which mode.go
//	template.go     how an instrument is spoken to; registers.go how a transmitter writes a resistance
//	schema.go       the same rules for editors
//
// What the map assumes. A relay that is not energised is an open contact, so that a rig without power shows the unit open
// loops and released buttons. A channel of the unit has its decade or its fixed resistors behind the contact of the relay
// called series-break: open, the loop is broken. A relay called short bridges the terminals. A relay that drives an input
// gives it the level 1 when closed. A loopback input is wired to a second contact of the relay that drives that name.
package wiring
