// Package hwtest is what the tests of hwio have in common: a fake clock for what judges logic, and repetition for what needs
// real time, on a machine that may have something else to do.
//
// Think of an umpire at a race on a day with gusts. Where the wind gauge stood still the result counts; where it did not the
// race is run again; and if the wind never drops, nobody has won and it is said so.
package hwtest
