package wiring

import (
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// A transmitter's channel is two input registers, high word first, counting in the unit of the map; the two highest numbers
// mean "above what I can measure" and "out of order". Where the site says device_stamp: yes, a third register counts its
// measurements.
const (
	registerOver   = 0xFFFF_FFFF
	registerBroken = 0xFFFF_FFFE
)

// FromRegisters is the reading in a transmitter's registers.
func FromRegisters(c *site.Channel, unit monitor.Microohm, words []uint16) monitor.Reading {
	if len(words) < registersOf(c) {
		return monitor.Reading{}
	}
	var made monitor.Reading
	switch count := uint32(words[0])<<16 | uint32(words[1]); count {
	case registerOver:
		made.Quality = monitor.OverRange
	case registerBroken:
		made.Quality = monitor.Bad
	default:
		made.Quality, made.Value = monitor.Valid, monitor.Microohm(count)*unit
	}
	if c.Stamped {
		made.Stamp = words[2]
	}
	return made
}

// ToRegisters is the same the other way, for the twin. Parts of a unit are rounded up, away from a good bond.
func ToRegisters(c *site.Channel, unit monitor.Microohm, r monitor.Reading) []uint16 {
	count := uint32(registerBroken)
	switch {
	case r.Quality == monitor.OverRange, r.Quality == monitor.Valid && (r.Value+unit-1)/unit >= registerBroken:
		count = registerOver
	case r.Quality == monitor.Valid && r.Value >= 0:
		count = uint32((r.Value + unit - 1) / unit)
	}
	words := []uint16{uint16(count >> 16), uint16(count)}
	if c.Stamped {
		words = append(words, r.Stamp)
	}
	return words
}
