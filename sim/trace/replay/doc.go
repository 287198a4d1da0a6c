// Package replay sends a recording through the logic and says where the two
// part.
//
// Picture two people who read the same log book line by line, one with the
// plant's answers, the other working each answer out: at the first line where
// they differ they stop, say what each has and by which rule, agree on what the
// plant did, and read on, so that one difference is not counted for ever.
package replay
