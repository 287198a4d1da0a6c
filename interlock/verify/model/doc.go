// Package model holds what a verification is about: the configuration that runs,
// what people call its parts, the seam through which the logic is called, the
// expressions over causes, and counters cut into cells.
package model
