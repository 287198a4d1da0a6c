//go:build !linux

package port

// beside can ask nothing here.
type beside struct{}

func openBeside(string) *beside { return nil }

func (*beside) waiting() int { return 0 }

func (*beside) close() {}

func unreadOn(int) int { return 0 }
