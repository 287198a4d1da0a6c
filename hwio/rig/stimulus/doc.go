// Package stimulus is what a bench of wires and resistors can show a unit under test, and what not: pure arithmetic on the
// map, before and beside any hardware.
//
// Think of a puppeteer who looks at the strings first: an arm without a string will not wave, whatever the play says.
//
//	value.go      how one reading is shown: open, shorted, or a resistance
//	state.go      what the whole bench shows, scan by scan, and the relay positions for it
//	glitch.go     what a decade shows in passing while it is stepped
//	dryrun.go    what a scenario will ask of the rig
//	feasible.go   which transitions of the logic such a bench can bring about; coverage.go which it has
package stimulus
