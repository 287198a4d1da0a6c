package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReplayNeverWritesOverWhatItReads: a recording is evidence.
func TestReplayNeverWritesOverWhatItReads(t *testing.T) {
	root := filepath.Join("..", "..", "testdata")
	text, err := os.ReadFile(filepath.Join(root, "traces", "amber_line_recorder.csv"))
	require.NoError(t, err)
	recording := filepath.Join(t.TempDir(), "plant.csv")
	require.NoError(t, os.WriteFile(recording, text, 0o600))
	code := run([]string{"replay", filepath.Join(root, "sites", "amber_line.yaml"), recording,
		"--map", filepath.Join(root, "traces", "amber_line_recorder.map.yaml"), "--csv", recording})
	require.Equal(t, exitInput, code)
	after, err := os.ReadFile(recording)
	require.NoError(t, err)
	require.Equal(t, text, after)
}
