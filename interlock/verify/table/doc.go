// Package table holds every state of a part of the logic and every step between
// them: one channel, one output with what its buttons and ends remember, one
// vessel with its streams; the stem, which is all that hangs on one channel; and
// the worst cases that can be read off a channel's table.
package table
