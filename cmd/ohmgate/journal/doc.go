// Package journal keeps what a live session turned, decided and told.
//
// Picture a bound logbook with numbered pages and a carbon copy: nothing is
// said on the radio before it stands in the book, every page carries the seal
// of the one before, and a torn page is reported, not glued.
//
// The book is one SQLite file. Every record is chained to the one before by
// SHA-256; events and decisions are on the disk before anybody is told, inputs
// within a second. Whoever rewrites the whole chain can forge it: note the last
// hash elsewhere (journal check prints it) where that matters.
package journal
