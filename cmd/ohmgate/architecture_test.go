package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// module is the prefix of our own import paths.
const module = "ohmgate"

// mayImport is a statement of policy: which of our own rooms each room may
// import, the longest matching room first. DO NOT CHANGE THIS DATA TO MAKE A
// BUILD PASS; move the code instead. Tests are exempt.
var mayImport = map[string][]string{
	"monitor":          {},
	"monitor/table":    {"monitor"},
	"interlock":        {"monitor"},
	"interlock/site":   {"monitor", "interlock", "interlock/site"},
	"interlock/fault":  {"monitor", "interlock", "interlock/site", "interlock/fault"},
	"interlock/loop":   {"monitor", "interlock"},
	"interlock/verify": {"monitor", "interlock", "interlock/site", "interlock/fault", "interlock/loop", "interlock/verify"},
	"interlock/emit":   {"monitor", "interlock", "interlock/site", "interlock/fault", "interlock/verify", "interlock/emit"},
	"sim":              {"monitor", "interlock", "sim"},
	"sim/charge":       {"sim/charge"},
	"sim/reliability":  {},
	"sim/trace":        {"monitor", "interlock", "sim/trace"},
	"hwio":             {"monitor", "interlock", "hwio"},
	"cmd":              {"monitor", "interlock", "sim", "hwio", "cmd"},
}

// pureBans are packages that the two Step functions' rooms never import.
var pureBans = []string{"time", "os", "net", "log", "math/rand", "math/rand/v2", "sync", "runtime", "io", "unsafe"}

// onlyIn names packages that a single room may import.
var onlyIn = map[string]string{"go.bug.st/serial": "hwio/port"}

type sourceFile struct {
	path, room string // relative to the module's root, with slashes
	test       bool
	syntax     *ast.File
	set        *token.FileSet
}

// sources parses every Go file of the project.
func sources(t *testing.T) []sourceFile {
	t.Helper()
	root := filepath.Join("..", "..")
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatal("the module's root is not where this test expects it: ", err)
	}
	var files []sourceFile
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "node_modules" || path != root && strings.HasPrefix(d.Name(), ".") && d.Name() != "..") {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		set := token.NewFileSet()
		syntax, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		files = append(files, sourceFile{rel, filepath.ToSlash(filepath.Dir(rel)), strings.HasSuffix(rel, "_test.go"), syntax, set})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 20 {
		t.Fatalf("only %d Go files found: the walk is broken", len(files))
	}
	return files
}

// policyFor is the entry of the longest room that holds this one.
func policyFor(room string) (string, []string, bool) {
	for at := room; ; at = at[:strings.LastIndexByte(at, '/')] {
		if allowed, ok := mayImport[at]; ok {
			return at, allowed, true
		}
		if !strings.Contains(at, "/") {
			return "", nil, false
		}
	}
}

func within(room, parent string) bool { return room == parent || strings.HasPrefix(room, parent+"/") }

// violations lists what one file imports against the policy.
func violations(f sourceFile) []string {
	entry, allowed, known := policyFor(f.room)
	if !known {
		return []string{f.path + ": no room of the design holds " + f.room}
	}
	var found []string
	for _, spec := range f.syntax.Imports {
		path, _ := strconv.Unquote(spec.Path.Value)
		for banned, room := range onlyIn {
			if within(path, banned) && !within(f.room, room) {
				found = append(found, f.path+": only "+room+" may import "+path)
			}
		}
		if (entry == "monitor" || entry == "interlock") && contains(pureBans, path) {
			found = append(found, f.path+": the logic is pure and never imports "+path+"; take what you need as an argument")
		}
		if !within(path, module) {
			continue
		}
		room := strings.TrimPrefix(strings.TrimPrefix(path, module), "/")
		ok := false
		for _, a := range allowed {
			ok = ok || within(room, a)
		}
		if entry == "interlock" && within(room, "interlock") {
			ok = false // the logic itself imports nothing that is built on it
		}
		if entry == "sim/charge" && !within(room, "sim/charge") {
			ok = false
		}
		if within(room, "cmd") && entry != "cmd" {
			ok = false
		}
		if !ok {
			found = append(found, f.path+": "+entry+" must not import "+room)
		}
	}
	return found
}

func contains(list []string, s string) bool {
	for _, have := range list {
		if have == s {
			return true
		}
	}
	return false
}

func TestImportRules(t *testing.T) {
	for _, f := range sources(t) {
		if f.test {
			continue
		}
		for _, v := range violations(f) {
			t.Error(v)
		}
	}
}

// TestImportRulesBite plants what the rules forbid and demands that each is
// found: a policy that cannot fail is none.
func TestImportRulesBite(t *testing.T) {
	for _, c := range []struct{ room, imports string }{
		{"monitor", "ohmgate/interlock"}, {"monitor", "time"}, {"interlock", "ohmgate/interlock/site"},
		{"interlock", "os"}, {"interlock/verify", "ohmgate/sim"}, {"sim", "ohmgate/hwio/modbus"},
		{"sim/charge", "ohmgate/monitor"}, {"hwio/modbus", "ohmgate/sim/trace"}, {"hwio/rig", "ohmgate/cmd/ohmgate"},
		{"hwio/modbus", "go.bug.st/serial"}, {"elsewhere", "fmt"},
	} {
		set := token.NewFileSet()
		syntax, err := parser.ParseFile(set, "planted.go", "package p\nimport _ \""+c.imports+"\"\n", 0)
		if err != nil {
			t.Fatal(err)
		}
		if len(violations(sourceFile{"planted.go", c.room, false, syntax, set})) == 0 {
			t.Errorf("%s imports %s and nothing was said", c.room, c.imports)
		}
	}
}

// banned lists the constructs that the pure rooms do without, each with what
// to use instead.
func banned(n ast.Node) string {
	switch n := n.(type) {
	case *ast.GoStmt:
		return "a goroutine; the caller owns concurrency"
	case *ast.SelectStmt, *ast.ChanType, *ast.SendStmt:
		return "a channel; return a value"
	case *ast.MapType:
		return "a map, which iterates in random order; use a slice"
	case *ast.BasicLit:
		if n.Kind == token.FLOAT || n.Kind == token.IMAG {
			return "a floating-point number; use integers"
		}
	case *ast.Ident:
		if n.Name == "float32" || n.Name == "float64" || n.Name == "complex128" {
			return "a floating-point type; use integers"
		}
	}
	return ""
}

func TestPureRoomsHoldNoSurprises(t *testing.T) {
	checked := 0
	for _, f := range sources(t) {
		if f.test || f.room != "monitor" && f.room != "interlock" {
			continue
		}
		checked++
		ast.Inspect(f.syntax, func(n ast.Node) bool {
			if text := banned(n); n != nil && text != "" {
				t.Errorf("%s: %s", f.set.Position(n.Pos()), text)
			}
			return true
		})
	}
	if checked < 10 {
		t.Fatalf("only %d files of the pure rooms were checked", checked)
	}
}

// longest is how many lines a function may have. Tables of data are not code.
const longest = 60

func TestFunctionsAreShort(t *testing.T) {
	for _, f := range sources(t) {
		if f.test {
			continue
		}
		for _, d := range f.syntax.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || fn.Body == nil {
				continue
			}
			lines := f.set.Position(fn.End()).Line - f.set.Position(fn.Pos()).Line + 1
			if lines > longest {
				t.Errorf("%s: %s has %d lines, at most %d: split it by idea", f.set.Position(fn.Pos()), fn.Name.Name, lines, longest)
			}
		}
	}
}

// TestRootHoldsTheRooms keeps the root as the design names it.
func TestRootHoldsTheRooms(t *testing.T) {
	entries, err := os.ReadDir(filepath.Join("..", ".."))
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
		t.Errorf("the root holds %v, the design names %v", have, want)
	}
}
