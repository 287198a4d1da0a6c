// Package analyse reads what others have recorded of a bench, a logic analyser above all: how long a unit took, where a bus is
// too slow to tell, and what was said on the bus.
//
// Think of the slow-motion camera beside the track: it starts nobody and stops nobody, and its picture is judged by the same
// rules.
//
//	levels.go      the levels of lines, as CSV or VCD
//	response.go    the time from a stimulus on one line to the response on another, held against its bound
//	characters.go  bytes from the levels of a line, and the speed of a line from its bytes
//	bytes.go       bytes with their times, as a table; number.go its numbers
//	frames.go      bytes cut into frames by silence, questions paired with answers
//	table.go       how long questions, turnarounds, answers and gaps were
package analyse
