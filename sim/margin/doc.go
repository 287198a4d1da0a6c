// Package margin answers what an interlock can still win: it puts the charge
// that is on a vessel when the flow has really stopped beside the charge that
// ignites, with every delay as it comes from the site's own logic.
//
// Picture: a smoke detector and a fire. Three questions decide what it is worth.
// Can the fire start while nobody watches? Is smouldering noticed long before
// flames? And when something explodes, is anybody out of the house in time? For
// a transfer the three are: (i) is a start without bond prevented, (ii) is a
// rising resistance caught before the critical one, (iii) after an abrupt loss,
// what is on the vessel when the flow has stopped, and how long must nobody
// touch it?
//
//	nodes.go    what is charged by what: vessels, parts, senders; each a line
//	known.go    inputs with where they come from; the defaults
//	current.go  the charging current of a stream
//	body.go     capacitance, ignition energy, leak of a node
//	bond.go     the logic's part: what trips, what cannot start
//	start.go    answer (i)
//	rising.go   answer (ii)
//	chain.go    every delay from the loss to the end of flow
//	loss.go     answer (iii)
//	instead.go  what would win instead, each with its own figure
//	together.go several streams at once
//	wait.go     how long nobody may touch it
//	sources.go  ignition sources that no bond removes
//	assess.go   PFDavg, PFH, spurious trips from the user's own rates
//	report.go   the whole answer; its verdict
//	text.go, schema.json, plot.go   what people and machines read
//
// Rules of the calculation, the same for every line:
//
//   - Values of the site file count as they stand; what the file leaves open gets
//     a documented default, and every default is in Line.Inputs with From
//     "default".
//   - The verdict of (iii) counts on no leak: an unmonitored leak is nobody's
//     bond. What the leak or second path of the file would change is shown beside.
//   - The wait is the other way round: the highest leak governs, and without one
//     there is no number.
//   - The loss may come as any class of bad readings; the slowest detection of all
//     of them is counted. A channel may be in doubt already, so the quickest is 0.
//   - Currents are capped at the largest industrial one and voltages at flashover;
//     the uncapped figures stand beside, and a verdict that rests on a cap
//     "depends".
//   - Charges of opposite sign are not counted on to cancel.
//
// This is an aid to engineering judgement: no substitute for the standards named,
// local codes or a licensed practitioner.
package margin
