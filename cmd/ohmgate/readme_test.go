package main

import (
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"ohmgate/interlock/verdict"
	"ohmgate/monitor"

	"github.com/stretchr/testify/require"
)

// pages lists every page of the project, from its root.
func pages(t *testing.T, root string) (list []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() && path != root && (d.Name() == "node_modules" || d.Name()[0] == '.') {
			return filepath.SkipDir
		}
		if strings.HasSuffix(path, ".md") {
			list = append(list, path)
		}
		return err
	}))
	require.GreaterOrEqual(t, len(list), 8, "the walk is broken")
	return list
}

// TestReadmeShowsRealOutput runs every command that a page shows, as it is typed from
// the root, and demands its lines, in order; "…" alone on a line stands for any
// number of lines.
func TestReadmeShowsRealOutput(t *testing.T) {
	root := filepath.Join("..", "..")
	for _, page := range pages(t, root) {
		showsRealOutput(t, root, page)
	}
	for _, page := range []string{"README.md", "interlock/site/README.md", "interlock/verify/README.md", "interlock/emit/README.md", "sim/margin/README.md", "sim/trace/README.md", "hwio/README.md"} {
		require.Contains(t, readFile(t, filepath.Join(root, page)), "```console\n$ ohmgate ", "%s shows no command", page)
	}
}

func showsRealOutput(t *testing.T, root, page string) {
	for _, block := range strings.Split(readFile(t, page), "```console\n")[1:] {
		body, _, closed := strings.Cut(block, "\n```")
		require.True(t, closed, "a console block is not closed")
		lines := strings.Split(body, "\n")
		command, ok := strings.CutPrefix(lines[0], "$ ohmgate ")
		require.True(t, ok, "a console block begins with its command: %s", lines[0])
		t.Run(command, func(t *testing.T) {
			t.Parallel()
			run := exec.Command(os.Args[0])
			run.Env, run.Dir = asProgram(strings.Fields(command)...), root
			printed, _ := run.CombinedOutput() // the exit code is not what is shown
			if at := firstMissing(lines[1:], strings.Split(string(printed), "\n")); at != "" {
				t.Errorf("%s shows for %q\n  %s\nwhich did not come; it printed\n%s", page, command, at, printed)
			}
		})
	}
}

// The first page fits on a few screens; it defines what every report says, and its
// first site is the file that the command beside it takes.
func TestReadmeIsShortAndDefinesItsWords(t *testing.T) {
	text := readFile(t, filepath.Join("..", "..", "README.md"))
	require.LessOrEqual(t, strings.Count(text, "\n"), 150)
	for phase := monitor.Phase(0); phase < monitor.Phases; phase++ {
		require.Contains(t, text, "| `"+phase.String()+"` | ")
	}
	for _, word := range []verdict.Verdict{verdict.Shown, verdict.Violated, verdict.NotShown, verdict.NothingChecked} {
		require.Contains(t, text, "| `"+word.String()+"` | ")
	}
	site := strings.TrimSpace(readFile(t, filepath.Join("..", "..", "testdata", "sites", "first", "drum.yaml")))
	require.Contains(t, text, "```yaml\n"+site+"\n```")
	require.LessOrEqual(t, strings.Count(site, "\n"), 10)
}

// Every link from page to page leads to a file.
func TestLinksBetweenPagesLead(t *testing.T) {
	links := 0
	for _, page := range pages(t, filepath.Join("..", "..")) {
		for _, found := range regexp.MustCompile(`\]\(([^)#:]+)\)`).FindAllStringSubmatch(readFile(t, page), -1) {
			_, err := os.Stat(filepath.Join(filepath.Dir(page), found[1]))
			require.NoError(t, err, "%s links to %s", page, found[1])
			links++
		}
	}
	require.Greater(t, links, 8)
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
