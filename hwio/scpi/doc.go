// Package scpi talks to decades and bench meters: a polite letter exchange in plain text, in which the other side does
// not complain unless asked, so that after every order one asks "any complaints?" (SYST:ERR?).
//
//	number.go     what an instrument answers, as micro-ohms or as a class that is no number
//	template.go   per-device words: SCPI has no agreed header for setting a decade, so each device brings its own
//	dialogue.go   orders and questions over a port, complaints collected after each
//	header.go     short and long forms of headers, for the instrument side
//	instrument.go an instrument that answers (IEEE 488.2 status, error queue), for the twin
//
// Overload values are sorted out as text and exact decimals, before anything becomes an integer: 9.9E37 turned into an
// int64 is a large negative number on one processor and a large positive one on the next, and the first would look like
// a perfect bond.
package scpi
