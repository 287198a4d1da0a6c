// Package sim is a plant that never was: vessels, clamps, wires, instruments,
// valves and people, with everything that can go wrong with them.
//
// Picture a model railway for safety engineers. A clamp is put on a rail car;
// its contact rusts, the truck beside it shakes it, the mains hum into its lead;
// the transmitter turns what is left into a number, and the bus loses some of
// the numbers. The logic that would run in the plant turns the pumps and valves
// of the model, scan by scan, without knowing that it is a model. A scenario
// says what happens when, and what must follow.
//
// All physics is floating point and ends here, at the edge of the package: what
// leaves it is an integer reading, a class or a quality. Over-range, NaN and
// infinity become a quality before any conversion, and negative stays negative.
//
// Nothing is random but by seed: every draw is a function of the seed, the name
// of what it disturbs and the scan, so that any scan of any channel can be
// repeated alone, and the same seed gives the same bytes on every processor.
// Go may fuse a multiplication and an addition into one rounding, which differs
// between processors; float64(a*b)+c forbids it, and is written throughout.
package sim
