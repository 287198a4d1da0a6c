// Package reliability turns failure rates into the numbers that an assessor asks
// for: the average probability of failure on demand (PFDavg), the frequency of
// dangerous failure (PFH), the rate of spurious trips, and the band of the safety
// integrity level that a number falls in.
//
// Picture: a fire extinguisher on a wall. It may have gone flat unnoticed; a
// yearly check finds that. PFDavg is the chance that it is flat when somebody
// reaches for it, on average over the year between two checks. Two extinguishers
// help, unless both go flat for the same reason (common cause).
//
// The formulas are those of IEC 61508-6:2010 Annex B.3, from memory, confirmed
// numerically against published rows of its tables (second-hand). They are first
// order: use them only while rate times proof-test interval stays below 0.1;
// Warnings says when they do not hold; the tests hold exact integrals without
// repair and common cause beside them. The spurious-trip formulas are those of common
// practice (ISA-TR84.00.02 style), from memory.
//
// The user brings the failure rates; there is no library of them here. A number
// in a band is not a claim of a safety integrity level, which also asks for
// architecture, systematic capability and much more.
//
// Units: rates 1/h, times h, fractions 0..1. This package imports nothing of ours.
package reliability
