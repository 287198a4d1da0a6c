// Package bench is the opened rig: lines, modules and instruments that are moved, read, checked, and let go.
//
// Think of the hands of the test engineer. They do one thing at a time, look whether it was done, and open every relay at
// the end, also after a fall.
//
//	bench.go     open lines, modules and instruments; drive.go moves them; meter.go reads meters beside the scan
//	selftest.go  one relay, one input, nothing else; and the proof that relays fall when the program goes silent
//	latency.go   the loop-back run: how late the rig itself is
//	release.go   relays open, read back, on every path out
package bench
