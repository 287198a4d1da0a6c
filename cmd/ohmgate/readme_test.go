package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReadmeShowsRealOutput runs every command that README.md shows and demands
// its lines, in order; "…" alone on a line stands for any number of lines.
func TestReadmeShowsRealOutput(t *testing.T) {
	root, err := filepath.Abs(filepath.Join("..", ".."))
	require.NoError(t, err)
	text, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	program := filepath.Join(t.TempDir(), "ohmgate")
	build := exec.Command("go", "build", "-o", program, ".")
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	ran := 0
	for _, block := range strings.Split(string(text), "```console\n")[1:] {
		body, _, closed := strings.Cut(block, "\n```")
		require.True(t, closed, "a console block is not closed")
		lines := strings.Split(body, "\n")
		command, ok := strings.CutPrefix(lines[0], "$ ohmgate ")
		require.True(t, ok, "a console block begins with its command: %s", lines[0])
		run := exec.Command(program, strings.Fields(command)...)
		run.Dir = root
		printed, _ := run.CombinedOutput() // the exit code is not what is shown
		if at := firstMissing(lines[1:], strings.Split(string(printed), "\n")); at != "" {
			t.Errorf("README shows for %q\n  %s\nwhich did not come; it printed\n%s", command, at, printed)
		}
		ran++
	}
	require.GreaterOrEqual(t, ran, 5, "too few commands were found in the README")
}

// firstMissing is the first wanted line that does not follow the one before
// it, directly or, after "…", at any distance; empty if all do.
func firstMissing(want, have []string) string {
	at, skip := 0, false
	for _, line := range want {
		if line == "…" {
			skip = true
			continue
		}
		found := at
		for found < len(have) && have[found] != line {
			if !skip {
				return line
			}
			found++
		}
		if found == len(have) {
			return line
		}
		at, skip = found+1, false
	}
	return ""
}

func TestFirstMissingBites(t *testing.T) {
	have := []string{"a", "b", "c"}
	require.Empty(t, firstMissing([]string{"a", "…", "c"}, have))
	require.Equal(t, "c", firstMissing([]string{"a", "c"}, have))
	require.Equal(t, "a", firstMissing([]string{"…", "c", "…", "a"}, have))
}
