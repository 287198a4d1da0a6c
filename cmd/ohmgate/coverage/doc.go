// Package coverage is where the verified graph of a site, the wires of a bench and
// the simulated plant meet: what of the graph the bench has seen, what it can never
// show and why, and scenarios that close its gaps.
//
// Think of a tester with a map of every road in a district and the log of a test
// car. Roads that the car cannot drive are marked as such; for each of the others
// that it has not driven a route is planned, driven in the simulator first, and
// written down only if the simulator has really passed through it.
//
//	coverage.go  the goals of a bench, and which of them were seen
//	records.go   which recorded runs count
//	rehearse.go  what the bench can play
//	gaps.go      paths to what was not seen, each as a scenario that was simulated
//	scenario.go  a path as a scenario; ending.go how it ends with a live unit
package coverage
