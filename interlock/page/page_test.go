package page

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func text(write func(*Page)) string {
	var out strings.Builder
	write(On(&out))
	return out.String()
}

func TestWrap(t *testing.T) {
	long := strings.Repeat("nine char ", 12)
	require.Equal(t, "head: nine char nine char nine char nine char nine char nine char nine char nine\n"+
		"  char nine char nine char nine char nine char\n", text(func(p *Page) { p.Wrap("head: ", long, 2) }))
	require.Equal(t, "head: nine char nine char nine char nine char nine char nine char nine char nine\n"+
		"      char nine char nine char nine char nine char\n", text(func(p *Page) { p.Hang("head: ", long) }))
	require.Equal(t, "head    text\n", text(func(p *Page) { p.Column("head", "text", 8) }))
	require.Equal(t, "too long a head\n        text\n", text(func(p *Page) { p.Column("too long a head", "text", 8) }))
	require.Equal(t, "head\n", text(func(p *Page) { p.Wrap("head  ", "", 4) }), "no blanks at the end")
	path := "/" + strings.Repeat("x", 90)
	require.Contains(t, text(func(p *Page) { p.Hang("record: ", "of "+path) }), "\n        "+path+"\n", "a name of a file is not cut")
}

// Letters of two bytes stand in one column, those of East Asia in two, and an accent
// of its own in none.
func TestColumns(t *testing.T) {
	for text, columns := range map[string]int{"": 0, "10 Ω": 4, "5 µA": 4, "5 μA": 4, "20 °C": 5, "…": 1, "e\u0301": 1, "接地": 4} {
		require.Equal(t, columns, Columns(text), text)
		require.Equal(t, 10, Columns(Pad(text, 10)), text)
		require.Equal(t, 10, Columns(Right(text, 10)), text)
	}
	require.Equal(t, "Ω…", Cut("ΩΩΩ", 2))
	require.Equal(t, "ΩΩ", Cut("ΩΩ", 2))
}

// No line is too wide, and no letter is lost or added.
func TestWrapLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		head := rapid.StringMatching(`[a-zΩ ]{0,30}`).Draw(t, "head")
		said := rapid.StringMatching(`([a-zµ接]{1,90} ?){0,10}`).Draw(t, "text")
		lines := Lines(head, said, rapid.IntRange(0, 200).Draw(t, "indent"))
		for _, line := range lines {
			require.LessOrEqual(t, Columns(line), Width)
		}
		bare := func(text string) string { return strings.Join(strings.Fields(text), "") }
		require.Equal(t, bare(head+said), bare(strings.Join(lines, "")))
	})
}

type full struct{ room int }

var errFull = errors.New("no room left")

func (f *full) Write(text []byte) (int, error) {
	if f.room--; f.room < 0 {
		return 0, errFull
	}
	return len(text), nil
}

// A page that is not whole says so, and writes nothing more.
func TestTheFirstErrorStays(t *testing.T) {
	to := &full{room: 1}
	p := On(to)
	p.Line("one")
	require.NoError(t, p.Err())
	p.Line("two")
	to.room = 9
	p.Line("three")
	require.ErrorIs(t, p.Err(), errFull)
	require.Equal(t, 9, to.room)
}
