package model

import (
	"fmt"
	"slices"

	"ohmgate/monitor"
)

// Plural is a number of things, one or many.
func Plural[N ~uint32 | ~uint64 | ~int](n N, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// PatternText writes a pattern as counts of the same class.
func PatternText(pattern []monitor.Class) string {
	text := ""
	for i := 0; i < len(pattern); {
		n := 1
		for i+n < len(pattern) && pattern[i+n] == pattern[i] {
			n++
		}
		if text != "" {
			text += ", "
		}
		if len(text) > 50 {
			return text + "…"
		}
		text += fmt.Sprintf("%d %s", n, pattern[i])
		i += n
	}
	return text
}

// ScansText is a number of scans in words.
func ScansText[N ~uint32 | ~uint64 | ~int](n N) string {
	return Plural(n, "scan", "scans")
}

// AppendNew appends what is not in the list yet.
func AppendNew(list []int, n int) []int {
	if slices.Contains(list, n) {
		return list
	}
	return append(list, n)
}

// Union is every number of two lists, each once.
func Union(a, b []int) []int {
	for _, n := range b {
		a = AppendNew(a, n)
	}
	return a
}
