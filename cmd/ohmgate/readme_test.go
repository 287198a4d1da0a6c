package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReadmeShowsRealOutput runs every command that README.md shows, as it is
// typed, and demands its lines, in order; "…" alone on a line stands for any
// number of lines.
func TestReadmeShowsRealOutput(t *testing.T) {
	root := filepath.Join("..", "..")
	ran := 0
	for _, block := range strings.Split(readFile(t, filepath.Join(root, "README.md")), "```console\n")[1:] {
		body, _, closed := strings.Cut(block, "\n```")
		require.True(t, closed, "a console block is not closed")
		lines := strings.Split(body, "\n")
		command, ok := strings.CutPrefix(lines[0], "$ ohmgate ")
		require.True(t, ok, "a console block begins with its command: %s", lines[0])
		ran++
		t.Run(command, func(t *testing.T) {
			t.Parallel()
			run := exec.Command(os.Args[0])
			run.Env, run.Dir = asProgram(strings.Fields(command)...), root
			printed, _ := run.CombinedOutput() // the exit code is not what is shown
			if at := firstMissing(lines[1:], strings.Split(string(printed), "\n")); at != "" {
				t.Errorf("README shows for %q\n  %s\nwhich did not come; it printed\n%s", command, at, printed)
			}
		})
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
