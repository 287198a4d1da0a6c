// Package runs turns the real logic on the whole site. A bench holds what was
// worked out about its parts and brings an output to run; a driver is the plant and
// the people that do everything right, until somebody makes them deviate; a
// recorder keeps what was fed, so that a run can be told, written down and repeated.
package runs
