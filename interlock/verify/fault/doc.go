// Package fault makes the fault table: it asks of every fault of the catalogue, and
// of every pair, what the real logic makes of it on the whole site: which rule sees
// it, after how many scans, with what effect; or that no rule does, so that only a
// proof test can.
//
// A look is one way in which a fault at a place can show itself for as long as it
// acts, and what is then true behind it. Looks become an injection, what they do to
// the inputs of a scan. A trial lets an injection act on the output that a healthy
// plant has brought to run; what repeats in it is passed over fast-forward. Very many
// faults inject the same, and pairs that meet nowhere do together what each does
// alone: a campaign makes every trial once. The worst look makes the row.
package fault
