package main

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
)

// Progress is for people at a terminal: it is drawn there, wiped in the end, and
// never written into a file.
func TestProgressOnATerminalOnly(t *testing.T) {
	master, terminal, err := pty.Open()
	require.NoError(t, err)
	defer master.Close()
	require.NoError(t, pty.Setsize(terminal, &pty.Winsize{Rows: 24, Cols: 80}))
	read := make(chan string)
	go func() {
		text, buffer := "", make([]byte, 4096)
		for {
			n, err := master.Read(buffer)
			text += string(buffer[:n])
			if err != nil {
				read <- text
				return
			}
		}
	}()
	p := newProgress(terminal)
	p.begin(1000)
	for range 4 {
		p.taken(200)
		time.Sleep(100 * time.Millisecond)
	}
	p.end()
	p.end()
	terminal.Close()
	text := <-read
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
