package architecture

import (
	"go/ast"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// startsGoroutines says where one file starts a goroutine: with a go statement, with
// the method Go that groups of them have, or by asking a timer or a context for a call.
func startsGoroutines(f sourceFile) (where []string) {
	ast.Inspect(f.syntax, func(n ast.Node) bool {
		starts := false
		switch n := n.(type) {
		case *ast.GoStmt:
			starts = true
		case *ast.SelectorExpr:
			starts = n.Sel.Name == "Go" || n.Sel.Name == "AfterFunc"
		}
		if starts {
			where = append(where, f.set.Position(n.Pos()).String())
		}
		return true
	})
	return where
}

// raced is .ci/race.list: kind of room by its path from the root.
func raced(t *testing.T, text string) map[string]string {
	t.Helper()
	kinds := map[string]string{}
	for _, line := range strings.Split(text, "\n") {
		fields := strings.Fields(line)
		if len(fields) == 0 || fields[0] == "#" {
			continue
		}
		if len(fields) < 4 || !slices.Contains([]string{"logic", "starts", "below", "shares"}, fields[0]) {
			t.Errorf(".ci/race.list: %q; write logic, starts, below or shares, the package, a pattern of tests, and why", line)
			continue
		}
		if kinds[fields[1]] != "" {
			t.Errorf(".ci/race.list: %s stands there twice", fields[1])
		}
		kinds[fields[1]] = fields[0]
	}
	return kinds
}

// unlisted compares what the source starts with what the list says.
func unlisted(files []sourceFile, kinds map[string]string) (wrong []string) {
	starts := map[string]bool{}
	for _, f := range files {
		if f.test {
			continue
		}
		for _, where := range startsGoroutines(f) {
			if kinds[f.room] != "starts" && kinds[f.room] != "below" {
				wrong = append(wrong, where+": a goroutine starts, and .ci/race.list does not say that "+f.room+" starts any")
			}
			starts[f.room] = true
		}
	}
	for room, kind := range kinds {
		if (kind == "starts" || kind == "below") && !starts[room] {
			wrong = append(wrong, ".ci/race.list says that "+room+" starts goroutines, and it does not")
		}
	}
	return wrong
}

// Every package that starts goroutines runs with the race detector.
func TestGoroutinesAreListed(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root, ".ci", "race.list"))
	if err != nil {
		t.Fatal(err)
	}
	kinds, files := raced(t, string(text)), sources(t)
	for _, wrong := range unlisted(files, kinds) {
		t.Error(wrong)
	}
	for room, kind := range kinds {
		if kind == "below" { // raced by the tests of the room above
			if room = path.Dir(room); kinds[room] != "starts" {
				t.Errorf(".ci/race.list: %s does not run with the race detector, and a room below it counts on that", room)
			}
		}
		if !slices.ContainsFunc(files, func(f sourceFile) bool { return f.room == room && f.test }) {
			t.Errorf(".ci/race.list: %s has no tests", room)
		}
	}
}

func TestGoroutinesAreFound(t *testing.T) {
	kinds := map[string]string{"a": "starts", "b": "shares"}
	one := parse(t, "a/a.go", "package p\nfunc p(f func()) { go f() }\n")
	for _, text := range []string{
		"func p(f func()) { go f() }", `import "sync"; func p(f func()) { var all sync.WaitGroup; all.Go(f) }`,
		`import "sync"; func p(f func()) { var all sync.WaitGroup; start := all.Go; start(f) }`,
		`import "time"; func p(f func()) { time.AfterFunc(1, f) }`,
	} {
		for _, room := range []string{"b", "c"} {
			if wrong := unlisted([]sourceFile{one, parse(t, room+"/p.go", "package p; "+text)}, kinds); len(wrong) != 1 {
				t.Errorf("%s in %s: said was %q", text, room, wrong)
			}
		}
	}
	if wrong := unlisted([]sourceFile{parse(t, "b/p.go", "package p")}, kinds); len(wrong) != 1 {
		t.Errorf("a starts none: said was %q", wrong)
	}
}
