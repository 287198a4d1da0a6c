// Package charge calculates static electricity on process plant: how fast a
// stream of product charges a conductive part that has lost its bond to earth,
// how much charge is on it when the flow has really stopped, whether a spark
// from it can ignite, and how long it takes to drain away.
//
// Picture: a bucket under a tap, with a hole. The tap is the streaming current
// (amperes), the bucket the capacitance (farads), the hole the leak (ohms), the
// height of the water the voltage. A bond is a hole so large that the bucket
// never fills. When the bond goes, the level rises at once; closing the tap
// takes time; and the question is how high the water stands by then, against
// the height at which it bites.
//
// What the package holds, one idea a file:
//
//	liquid.go      streaming current, charge density, relaxation
//	filter.go      charge from strainers and fine filters, and residence after them
//	powder.go      charge of powders by operation
//	capacity.go    capacitances: table, the {0.5, 2} rule
//	ignition.go    minimum ignition energies, one named source a row
//	spark.go       spark energy, the voltage and charge that ignite
//	resistance.go  critical resistance and the limits in use
//	conductor.go   an isolated or leaky conductor: time to a level
//	rundown.go     how a flow dies away, and the charge it still brings
//	loss.go        the whole question: bond lost under flow; verdict
//	sensitivity.go break-even of an input, bars of a tornado plot
//	wait.go        how long until the charge is gone
//	velocity.go    velocity limits
//	network.go     several conductors at once, currents summing to zero with earth
//
// All quantities are SI: A, V, Ω, F, C, J, s, m, S/m, C/m³, kg/s. Every quantity
// that an engineer cannot know exactly is an interval.Interval, and the results
// hold for every value inside; where a result is not monotone in an input, the
// extremum inside is found, not only the corners. A leak of +Inf means "none".
// A time of +Inf means "never".
//
// Every number that is not arithmetic carries a Source and a Confidence (see
// Fact): most come second-hand, some from memory, and records must say so.
//
// The model, and what it leaves out: the whole streaming current goes onto an
// isolated closed metal shell at once, whatever the liquid itself still holds
// (the image charge of a Faraday cup). For open tops that is an upper bound. A
// bond does nothing for charge on the product itself: cone and brush discharges
// are not calculated here. Water or solids in a liquid are not covered. There
// was no published worked example of a time to an incendive level; such
// numbers are arithmetic from the cited formulas.
//
// This is an aid to engineering judgement. It is no substitute for the
// standards named, local codes or a licensed practitioner.
package charge
