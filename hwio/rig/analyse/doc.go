// Package analyse reads a logic analyser's record and measures in it what a bus is too slow for.
//
// Think of the slow-motion camera beside the track: it starts nobody and stops nobody, and its picture is judged by the same
// rules.
package analyse
