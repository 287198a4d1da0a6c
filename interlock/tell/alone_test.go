package tell

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// ours are the words that stand in the tables of this room, of interlock and of
// monitor, and nowhere else. A single word such as "open" is anybody's.
func ours() map[string]*regexp.Regexp {
	list := strings.Split(strings.TrimSpace(recorded), "\n")
	for i := range kinds {
		list = append(list, kinds[i].rule, kinds[i].basis)
		list = append(list, regexp.MustCompile(`\$\{\w+\}|; |: `).Split(kinds[i].what+": "+kinds[i].do, -1)...)
	}
	for _, edge := range monitor.Chart() {
		list = append(list, edge.Trigger)
	}
	for _, rank := range Ranks {
		list = append(list, rank.Words())
	}
	interlock.AllUnconfirmed.Each(func(one interlock.Unconfirmed) { list = append(list, Unconfirmed(one)) })
	words := map[string]*regexp.Regexp{}
	for _, text := range list {
		switch text = strings.Trim(text, " ,"); strings.Count(text, " ") {
		case 0: // anybody's
		case 1, 2, 3: // prose may use it; alone it is ours
			words[text] = regexp.MustCompile(`^["'\s]*` + regexp.QuoteMeta(text) + `["'\s:;,.(]*$`)
		default:
			words[text] = regexp.MustCompile(regexp.QuoteMeta(text))
		}
	}
	return words
}

// elsewhere are the places outside that may hold such a word, each with its
// reason.
var elsewhere = []struct{ place, word, why string }{
	{"interlock/fault/catalogue.go", "scan overrun", "it is the title of the fault that makes one"},
	{"sim/margin/text.go", "do not touch for", "physics says there for how long, not a wait of the logic"},
	{"cmd/ohmgate/page/src/events.ts", "tripped", "it is the name of a kind in JSON, not shown"},
	{"interlock/verify/fault/table.go", "kept out", "it is what becomes of a fault, not a mode"},
}

// allowed is the entry that lets a place hold a word; -1 if none does.
func allowed(place, word string) int {
	for i, e := range elsewhere {
		if strings.HasPrefix(place, e.place) && e.word == word {
			return i
		}
	}
	return -1
}

// quotes are the literals of a line of TypeScript, near enough.
var quotes = regexp.MustCompile("\"[^\"]*\"|'[^']*'|`[^`]*`")

// literals calls f with every string literal of a Go file but tags and imports.
func literals(file *ast.File, f func(at token.Pos, text string)) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.Field:
			n.Tag = nil
		case *ast.BasicLit:
			if n.Kind == token.STRING {
				if text, err := strconv.Unquote(n.Value); err == nil {
					f(n.Pos(), text)
				}
			}
		}
		return true
	})
}

// TestNobodyElseHoldsTheseWords walks every literal of the program and of its
// page: what the logic tells has one place.
func TestNobodyElseHoldsTheseWords(t *testing.T) {
	words, used, looked := ours(), map[int]bool{}, 0
	page := map[string]bool{} // single words that the page once had a table of
	for p := range monitor.Phase(monitor.Phases) {
		page[p.String()] = true
	}
	for m := range interlock.Mode(interlock.Modes) {
		page[m.String()] = true
	}
	complain := func(place, text string) {
		looked++
		found := []string{}
		for word, is := range words {
			if is.MatchString(text) {
				found = append(found, word)
			}
		}
		if page[text] && strings.HasPrefix(place, "cmd/ohmgate/page/") {
			found = append(found, text)
		}
		for _, word := range found {
			if i := allowed(place, word); i >= 0 {
				used[i] = true
			} else {
				t.Errorf("%s: %q holds %q; take it from interlock/tell", place, text, word)
			}
		}
	}
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name, room := d.Name(), filepath.ToSlash(strings.TrimPrefix(filepath.Dir(path), root+string(filepath.Separator)))
		switch {
		case d.IsDir() && (name == "node_modules" || name == "dist" || name == "testdata" || path != root && strings.HasPrefix(name, ".")):
			return filepath.SkipDir
		case room == "monitor" || room == "interlock" || room == "interlock/tell" || strings.HasSuffix(name, "_test.go"):
			return nil
		case strings.HasSuffix(name, ".go"):
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			literals(file, func(at token.Pos, text string) {
				complain(room+"/"+name+":"+strconv.Itoa(set.Position(at).Line), text)
			})
		case strings.HasSuffix(name, ".ts"):
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			for i, line := range strings.Split(string(text), "\n") {
				if !strings.HasPrefix(strings.TrimSpace(line), "//") {
					for _, quoted := range quotes.FindAllString(line, -1) {
						complain(room+"/"+name+":"+strconv.Itoa(i+1), quoted[1:len(quoted)-1])
					}
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if looked < 5000 {
		t.Errorf("only %d literals were looked at: the walk is broken", looked)
	}
	for i, e := range elsewhere {
		if !used[i] {
			t.Errorf("%s may hold %q and does not", e.place, e.word)
		}
	}
}

// What the walk is to find is planted, and found; prose that uses a word is not.
func TestTheWalkFindsAWord(t *testing.T) {
	words := ours()
	finds := func(text string) (found bool) {
		for _, is := range words {
			found = found || is.MatchString(text)
		}
		return found
	}
	for text, want := range map[string]bool{
		"wait running": true, "wait running: ": true, " kept out,": true, "valve_1 unconfirmed: did not report stopped in time": true,
		"act at once": true, "doubt repaid": true, "of 3 runs, one with the wait running": false, "kept out after the next stop": false, "open": false,
	} {
		if finds(text) != want {
			t.Errorf("%q is found: %v", text, !want)
		}
	}
	file, err := parser.ParseFile(token.NewFileSet(), "planted.go", "package p\nimport \"kept out\"\ntype T struct { A int `json:\"kept out\"` }\nvar x = `kept out`\n", 0)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	literals(file, func(_ token.Pos, text string) { n++ })
	if n != 1 {
		t.Errorf("%d literals, not the one that is neither a tag nor an import", n)
	}
}
