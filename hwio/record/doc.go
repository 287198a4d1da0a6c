// Package record keeps what was said on a line, word for word and to the microsecond, and reads it back: the court
// stenographer of the bench.
//
//	recorder.go  raw bytes of our own ports as JSON lines, written as they pass
//	capture.go   bytes with their times from a logic analyser, as a table; number.go its numbers
//	characters.go bytes from the levels of a line, and the speed of a line from its bytes
//	frames.go    either of them cut into frames by silence, questions paired with answers
//	table.go     how long questions, turnarounds, answers and gaps were
//
// A record that breaks off in mid-line (power cut, kill) is read up to its last whole line and says so.
package record
