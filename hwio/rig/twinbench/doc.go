// Package twinbench is a rig without hardware: the twin's pseudo-terminals wired as a site's rig map says, with a unit under
// test behind them that runs the very logic of the site, or a wrong one, so that everybody can see what the bench finds.
//
// Think of a driving simulator with a good driver and a handful of bad ones. The car reacts to the pedals as the real one
// does, with the same dead times; only the road is painted.
//
//	twinbench.go opens a twin and wires it
//	unit.go      the unit under test: reads contacts and resistances once a scan, turns the logic, moves its contacts
//	defect.go    units that are wrong, each in one way that has hurt somebody
//	plant.go     a plant in the place of the unit, for stand-in and listen
package twinbench
