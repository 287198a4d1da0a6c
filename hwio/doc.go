// Package hwio is the bench: the cables between this program and real relays, inputs and instruments.
//
// Think of a switchboard operator with a stop-watch. She plugs a line in (port), speaks one of two languages on it
// (modbus to relay and input modules, scpi to decades and meters), writes down every word with the time it was said
// (record), and has devices made of paper to practise on, which answer like the real ones (twin). What the words mean for
// the interlock is not her business: nothing in here decides about safety, and nothing in here imports sim or cmd.
//
// The one rule that shapes everything below: a line that does not answer, answers late, answers garbage or is pulled
// is never "the last value again". It is an error with a type, and a reading that is missing.
package hwio
