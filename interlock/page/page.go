// Package page writes text for people: lines of 80 columns, texts broken at blanks,
// and columns that stay under each other whatever letters stand in them.
package page

import (
	"io"
	"strings"

	"github.com/mattn/go-runewidth"
)

// Width is how many columns a line may have.
const Width = 80

// screen counts columns the same way on every machine, whatever its locale says.
var screen = runewidth.Condition{StrictEmojiNeutral: true}

// Columns is how wide a text stands on a page.
func Columns(text string) int { return screen.StringWidth(text) }

// Page writes lines. The first error stays and ends the writing: who prints a whole
// report looks at Err once, when all is said.
type Page struct {
	out io.Writer
	err error
}

// On is a page that is written to out.
func On(out io.Writer) *Page { return &Page{out: out} }

// Err is the first error of writing.
func (p *Page) Err() error { return p.err }

// Write writes lines that are laid out already.
func (p *Page) Write(text []byte) (int, error) {
	if p.err != nil {
		return 0, p.err
	}
	var n int
	n, p.err = p.out.Write(text)
	return n, p.err
}

// Line writes one line, without the blanks at its end.
func (p *Page) Line(text string) { _, _ = io.WriteString(p, strings.TrimRight(text, " ")+"\n") }

// Wrap writes a head and a text behind it, broken at blanks; later lines are
// indented by so many columns.
func (p *Page) Wrap(head, text string, indent int) {
	for _, line := range Lines(head, text, indent) {
		p.Line(line)
	}
}

// Hang writes a head and a text behind it; later lines begin under the text.
func (p *Page) Hang(head, text string) { p.Wrap(head, text, Columns(head)) }

// Column writes a text in a column of its own; a head that reaches into it gets a
// line of its own.
func (p *Page) Column(head, text string, column int) {
	if text != "" && Columns(head) >= column && head != "" {
		p.Line(head)
		head = ""
	}
	p.Wrap(Pad(head, column), text, column)
}

// Lines breaks a text behind a head at blanks, so that no line is wider than the
// page; later lines are indented by so many columns.
func Lines(head, text string, indent int) []string {
	var lines []string
	later := strings.Repeat(" ", min(indent, Width-2)) // room for the widest letter
	line, empty := head, true
	for _, word := range strings.Fields(text) {
		if !empty && Columns(line)+1+Columns(word) > Width {
			lines, line, empty = append(lines, line), later, true
		}
		if !empty {
			line += " "
		}
		for mayBreak(word) && Columns(line)+Columns(word) > Width {
			first := screen.Truncate(word, max(0, Width-Columns(line)), "")
			lines, line, word = append(lines, line+first), later, word[len(first):]
		}
		line, empty = line+word, false
	}
	return append(lines, strings.TrimRight(line, " "))
}

// mayBreak says that a word that is too long for its line may be cut. The name of a
// file may not: it is there to be copied.
func mayBreak(word string) bool { return !strings.ContainsAny(word, `/\`) }

// Pad fills a text with blanks to so many columns.
func Pad(text string, columns int) string { return screen.FillRight(text, columns) }

// Right puts a text at the right end of so many columns.
func Right(text string, columns int) string { return screen.FillLeft(text, columns) }

// Cut is a text that has at most so many columns; what is left out leaves a mark.
func Cut(text string, columns int) string { return screen.Truncate(text, columns, "…") }
