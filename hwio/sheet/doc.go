// Package sheet is the bound book of a test laboratory: numbered pages that are only ever added to, each tied to the page
// before it, so that a page that was changed, taken out or put in later shows.
//
//	book.go    the file: one line of JSON per entry, chained by hash, written in one piece and synced
//	check.go   reading it back and finding the first thing that does not fit
//	data.go    what the entries say: head of a run, checks before it, judged steps, how it ended
//	table.go   the same as CSV
//	page.go    the same as one printable page with lines for signatures
//	junit.go   the same for machines that count tests
//
// What a chain can and cannot show: a changed, missing or inserted byte anywhere is found. Whole entries cut off at the end,
// or a chain that somebody computed anew, are found only against the last hash, which is printed on the page that was signed.
package sheet
