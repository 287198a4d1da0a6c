// Package architecture holds no code, only the tests that keep the walls of the
// house where they stand: who may import whom (imports_test.go), what the two
// rooms of the logic do without (pure_test.go, tables_test.go), who starts
// goroutines (goroutines_test.go), how long a function may be and what the root
// holds (shape_test.go), what a comment may point at (cited_test.go).
//
// Each rule is data or a few lines, and beside each stands a test that plants its
// breach in memory and demands that it is found: a rule that cannot fail is none.
package architecture
