// Package interval is time as a bench knows it: not before, not after; at least, at most. There is no other time in the
// rooms of the rig.
package interval
