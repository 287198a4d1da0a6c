package main

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
)

func TestReport(t *testing.T) {
	for _, c := range []struct {
		err  error
		code exitCode
		text string
	}{
		{ended(exitViolated), exitViolated, ""},
		{failed(exitLost, "line %d is gone", 3), exitLost, "ohmgate: line 3 is gone\n"},
		{fmt.Errorf("while running: %w", ended(exitIncomplete)), exitIncomplete, ""},
		{errors.New("unknown flag: --x"), exitInput, "ohmgate: unknown flag: --x\n"},
	} {
		var w bytes.Buffer
		require.Equal(t, c.code, report(&w, c.err))
		require.Equal(t, c.text, w.String())
	}
	require.NoError(t, ended(exitShown))
}

// fullDisk takes so many bytes.
type fullDisk struct{ room int }

func (d *fullDisk) Write(text []byte) (int, error) {
	if d.room -= len(text); d.room < 0 {
		return 0, errors.New("no space left")
	}
	return len(text), nil
}

// A report that is not printed whole shows nothing, whatever it would have said.
func TestAReportThatIsCutOffIsLost(t *testing.T) {
	for _, asJSON := range []bool{true, false} {
		for room, want := range map[int]exitCode{9: exitLost, 999: exitShown} {
			err := finish(&fullDisk{room}, asJSON, exitShown, map[string]string{"verdict": "all of it"}, func(p *page.Page) {
				p.Line("a line")
				p.Line("another line")
			})
			code := exitShown
			if err != nil {
				code = report(&bytes.Buffer{}, err)
			}
			require.Equal(t, want, code, "JSON: %v, room for %d bytes", asJSON, room)
		}
	}
}

func TestAWrongCommandLineIsWrongInput(t *testing.T) {
	require.Equal(t, exitInput, run([]string{"--no-such-flag"}))
	require.Equal(t, exitInput, run([]string{"no-such-verb"}))
}
