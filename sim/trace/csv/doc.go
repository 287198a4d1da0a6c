// Package csv writes a run as a table and reads tables back: our own, and those
// that other people's recorders wrote.
//
// Picture a clerk who copies the plant's log book: line by line, each column in
// its place, and whatever cannot be read is noted in the margin with its line
// and field. The clerk never guesses a number and never turns a page in silence.
//
// Our own table has one row for each scan and carries everything that the logic
// saw, so that a replay of it must come to the same decisions. A foreign table
// has its own times; Mapped turns it into scans.
package csv

// Magic begins our own tables.
const Magic = "# ohmgate recording 1"

// Suffixes of our own columns; the part before the dot is a name of the site.
const (
	suffixOhm       = ".ohm"
	suffixQuality   = ".quality"
	suffixStamp     = ".stamp"
	suffixPhase     = ".phase"
	suffixTrueOhm   = ".true_ohm"
	suffixTrueBond  = ".true_bond"
	suffixTrueFlow  = ".true_flow"
	columnTime      = "time_s"
	columnScan      = "scan"
	columnPowerUp   = "power_up"
	columnOverrun   = "overrun"
	columnEvents    = "events"
	columnFaults    = "true_faults"
	qualityBad      = "bad"
	qualityOver     = "over-range"
	signalFaulty    = "faulty"
	endOfRecording  = "# end "
	headerSite      = "# site "
	headerScenario  = "# scenario "
	headerTool      = "# tool "
	headerPeriod    = "# scan_ns "
	headerSimulated = "# simulated "
)
