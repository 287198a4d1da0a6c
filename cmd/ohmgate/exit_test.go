package main

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
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

func TestAWrongCommandLineIsWrongInput(t *testing.T) {
	require.Equal(t, exitInput, run([]string{"--no-such-flag"}))
	require.Equal(t, exitInput, run([]string{"no-such-verb"}))
}
