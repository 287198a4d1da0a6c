package main

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
)

// openTerminal is a terminal of 80 columns and what was drawn on it until it was
// closed.
func openTerminal(t *testing.T) (terminal *os.File, drawn func() string) {
	t.Helper()
	master, terminal, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(terminal, &pty.Winsize{Rows: 24, Cols: 80}))
	read := make(chan string)
	go func() {
		text, buffer := "", make([]byte, 4096)
		for {
			n, err := master.Read(buffer)
			text += string(buffer[:n])
			if err != nil {
				master.Close()
				read <- text
				return
			}
		}
	}()
	return terminal, func() string { return <-read }
}

// Progress is for people at a terminal: it is drawn there, wiped in the end, and
// never written into a file.
func TestProgressOnATerminalOnly(t *testing.T) {
	terminal, read := openTerminal(t)
	p := newProgress(terminal)
	p.begin(1000)
	for range 4 {
		p.taken(200)
		time.Sleep(100 * time.Millisecond)
	}
	p.end()
	p.end()
	terminal.Close()
	text := read()
	require.Contains(t, text, "replay")
	require.Contains(t, text, "%")
	require.True(t, strings.HasSuffix(text, "\x1b[J"), "the bar was left behind")

	file, err := os.CreateTemp(t.TempDir(), "")
	require.NoError(t, err)
	defer file.Close()
	p = newProgress(file)
	p.begin(1000)
	p.taken(1000)
	p.end()
	info, err := file.Stat()
	require.NoError(t, err)
	require.Zero(t, info.Size())
}

// The searches' bar says what it is at, how many states it has and how fast, in
// 80 columns, and is gone in the end.
func TestSearchProgress(t *testing.T) {
	terminal, read := openTerminal(t)
	told, end := searchProgress(terminal)
	for n := range 4 {
		told(n, 7, "valve_1 with bond_1", uint64(n+1)*1_500_000)
		time.Sleep(150 * time.Millisecond)
	}
	end()
	end()
	terminal.Close()
	text := read()
	require.Contains(t, text, "3/7")
	require.Contains(t, text, "M states")
	require.Contains(t, text, "valve_1 with bond_1")
	require.Contains(t, text, " MB")
	require.True(t, strings.HasSuffix(text, "\x1b[J"), "the bar was left behind")

	file, err := os.CreateTemp(t.TempDir(), "")
	require.NoError(t, err)
	defer file.Close()
	told, end = searchProgress(file)
	require.Nil(t, told)
	end()
}
