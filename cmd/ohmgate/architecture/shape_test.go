package architecture

import (
	"go/ast"
	"os"
	"sort"
	"strings"
	"testing"
)

// longest is how many lines a function may have. Tables of data are not code.
const longest = 60

// tooLong lists the functions of one file that have more lines than that.
func tooLong(f sourceFile) (names []string) {
	for _, d := range f.syntax.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok || fn.Body == nil {
			continue
		}
		if f.set.Position(fn.End()).Line-f.set.Position(fn.Pos()).Line+1 > longest {
			names = append(names, f.set.Position(fn.Pos()).String()+": "+fn.Name.Name)
		}
	}
	return names
}

func TestFunctionsAreShort(t *testing.T) {
	for _, f := range sources(t) {
		if f.test {
			continue
		}
		for _, name := range tooLong(f) {
			t.Errorf("%s has more than %d lines: split it by idea", name, longest)
		}
	}
	at := func(lines int) string { return "package p\nfunc f() {\n" + strings.Repeat("\n", lines-2) + "}\n" }
	if tooLong(parse(t, "p/planted.go", at(longest))) != nil || tooLong(parse(t, "p/planted.go", at(longest+1))) == nil {
		t.Error("the limit is not where it is said to be")
	}
}

// TestRootHoldsTheRooms: whoever opens the folder sees the rooms and the pages,
// nothing else.
func TestRootHoldsTheRooms(t *testing.T) {
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"DEVELOPERS.md", "Makefile", "README.md", "cmd", "go.mod", "go.sum", "hwio", "interlock", "monitor", "sim", "testdata"}
	var have []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && e.Name() != "build" {
			have = append(have, e.Name())
		}
	}
	sort.Strings(have)
	if strings.Join(have, " ") != strings.Join(want, " ") {
		t.Errorf("the root holds %v, this test names %v", have, want)
	}
}
