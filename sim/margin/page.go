package margin

import (
	"io"
	"strings"
)

// pageWidth is how wide text output may be.
const pageWidth = 80

// page writes lines that fit the width; the first error stays.
type page struct {
	out io.Writer
	err error
}

func (p *page) line(text string) {
	if p.err == nil {
		_, p.err = io.WriteString(p.out, strings.TrimRight(text, " ")+"\n")
	}
}

// wrapped writes a text behind a head, broken at blanks; later lines begin under
// the text. A head that is longer than indent gets a line of its own.
func (p *page) wrapped(head, text string, indent int) {
	if head != "" && len([]rune(head)) > indent-1 && text != "" {
		p.line(head)
		head = ""
	}
	row := []rune(pad(head, indent))
	start := true
	for _, letters := range words(text, pageWidth-indent) {
		if !start && len(row)+1+len(letters) > pageWidth {
			p.line(string(row))
			row, start = []rune(strings.Repeat(" ", indent)), true
		}
		if !start {
			row = append(row, ' ')
		}
		row, start = append(row, letters...), false
	}
	p.line(string(row))
}

// words cuts a text at blanks; what is longer than a line is cut, too.
func words(text string, width int) [][]rune {
	var list [][]rune
	for _, word := range strings.Fields(text) {
		letters := []rune(word)
		for len(letters) > width {
			list, letters = append(list, letters[:width]), letters[width:]
		}
		list = append(list, letters)
	}
	return list
}

// pad fills a text with blanks to a width counted in characters.
func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-len([]rune(text))))
}
