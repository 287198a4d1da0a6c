package site

import (
	"fmt"
	"sort"
	"strings"

	"ohmgate/interlock/page"
)

// Problem is one thing that is wrong with a site file: where, what, and what to
// write instead.
type Problem struct {
	File    string `json:"file"`
	Line    int    `json:"line"`   // from 1
	Column  int    `json:"column"` // in characters, from 1
	Text    string `json:"text"`
	Instead string `json:"instead"`
}

func (p Problem) Error() string {
	place := fmt.Sprintf("%s:%d:%d: ", p.File, p.Line, p.Column)
	return strings.Join(page.Lines("", place+p.Text+"; "+p.Instead, 4), "\n")
}

// Problems is everything that is wrong with a site file, in the order of the
// file. It is an error; nil means that nothing is.
type Problems []Problem

func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i := range p {
		lines[i] = p[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Err is p as an error: nil where nothing is wrong, which a nil slice in an
// error variable would not be.
func (p Problems) Err() error {
	if len(p) == 0 {
		return nil
	}
	return p
}

// mostProblems bounds the list; whoever has more starts with these.
const mostProblems = 200

// sorted puts problems in the order of the file, drops doubles and cuts a list
// that nobody would read to its end.
func (p Problems) sorted() Problems {
	sort.SliceStable(p, func(i, j int) bool {
		a, b := p[i], p[j]
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		if a.Column != b.Column {
			return a.Column < b.Column
		}
		return a.Text < b.Text
	})
	kept := p[:0]
	for i := range p {
		if i == 0 || p[i] != p[i-1] {
			kept = append(kept, p[i])
		}
	}
	if more := len(kept) - mostProblems; more > 0 {
		last := kept[mostProblems]
		last.Text = fmt.Sprintf("and %d more problems from here on", more)
		last.Instead = "correct the ones above first"
		kept = append(kept[:mostProblems], last)
	}
	return kept
}

// nearest finds the word of a list that was probably meant; empty if none is
// close.
func nearest(word string, list []string) string {
	if len(word) > 60 {
		return ""
	}
	best, least := "", 1+len(word)/3
	for _, candidate := range list {
		if len(candidate) > len(word)+2*least || len(word) > len(candidate)+2*least {
			continue // counted in bytes, of which a letter of a name has one or two
		}
		if d := distance(word, candidate); d <= least && (best == "" || d < least) {
			best, least = candidate, d
		}
	}
	return best
}

// distance counts the letters to insert, drop, replace or swap with their
// neighbour to get from one word to the other.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	rows := make([][]int, len(x)+1)
	for i := range rows {
		rows[i] = make([]int, len(y)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			replaced := rows[i-1][j-1]
			if x[i-1] != y[j-1] {
				replaced++
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, replaced)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(x)][len(y)]
}
