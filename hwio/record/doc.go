// Package record keeps what was said on a line, word for word and to the microsecond, and reads it back: the court
// stenographer of the bench.
//
// Raw bytes of our own ports are written as JSON lines, as they pass. A record that breaks off in mid-line (power cut, kill) is
// read up to its last whole line and says so. What the bytes mean is for hwio/rig/analyse.
package record
