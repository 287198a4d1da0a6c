// Package judge holds what a run saw against the logic beside the unit and its bounds: pure, without any clock or wire.
//
// Think of the photo finish. Whoever stands in the blur has neither won nor lost; it is said so, and how to take a sharper
// picture.
//
//	observed.go  what one run showed, decided and saw
//	bound.go     what a response is held against, and where that comes from
//	timing.go    an interval against a bound: consistent, violated, or cannot be told; what many runs allow to be said
//	judge.go     each decision of the logic paired with what the unit did
//	forgive.go   what the bench itself has spoilt is taken back
//	verdict.go   the word for all of it, and its exit code
package judge
