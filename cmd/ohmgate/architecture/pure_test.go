package architecture

import (
	"fmt"
	"go/ast"
	"go/build"
	"go/constant"
	"go/importer"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// pureImports is a statement of policy like mayImport: all that the two rooms of
// the logic may import. They are pure: what they decide depends on their arguments
// and on nothing else, to the last bit, on every machine. Names after a package
// mean those alone of all that it has.
var pureImports = map[string]map[string][]string{
	"monitor": {"errors": nil},
	"interlock": {
		"errors": nil, "strconv": nil, "strings": nil, "math/bits": nil,
		"fmt":             {"Errorf", "Sprintf"}, // the rest of it reads and writes
		"ohmgate/monitor": nil,
	},
}

// besides is what a single file may import as well. The chart of the phases is
// handed out as a state machine of this library; the types of the library, in
// which there are maps, are not looked into there. No other file touches them.
var besides = map[string]string{"monitor/chart.go": "github.com/looplab/fsm"}

// pureRoom is one room of the logic, type-checked.
type pureRoom struct {
	name  string
	set   *token.FileSet
	files []*ast.File
	info  *types.Info
	pkg   *types.Package
}

// exported are the files in which the compiler keeps the types of a package, for
// all that the two rooms import and all that the breaches below do.
var exported = sync.OnceValues(func() (map[string]string, error) {
	list := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}}\t{{.Export}}", "./monitor", "./interlock",
		"net/http", "net/url", "os/exec", "log/slog", "sync/atomic", "reflect", "math", "math/rand", "time", "unsafe")
	list.Dir, list.Stderr = root, os.Stderr
	out, err := list.Output()
	files := map[string]string{}
	for _, line := range strings.Split(string(out), "\n") {
		path, file, _ := strings.Cut(line, "\t")
		files[path] = file
	}
	return files, err
})

// load type-checks one room of the logic, with one more file if there is text for it.
func load(t *testing.T, name, planted string) *pureRoom {
	t.Helper()
	folder, err := build.ImportDir(filepath.Join(root, name), 0)
	if err != nil {
		t.Fatal(err)
	}
	if odd := slices.Concat(folder.IgnoredGoFiles, folder.SFiles, folder.CgoFiles, folder.CFiles, folder.SysoFiles); len(odd) > 0 {
		t.Fatalf("%s: %v is not built everywhere, or is no Go: nobody would check it", name, odd)
	}
	r := &pureRoom{name: name, set: token.NewFileSet(), info: &types.Info{
		Types: map[ast.Expr]types.TypeAndValue{}, Defs: map[*ast.Ident]types.Object{}, Uses: map[*ast.Ident]types.Object{},
		Selections: map[*ast.SelectorExpr]*types.Selection{}}}
	for _, file := range folder.GoFiles {
		text, err := os.ReadFile(filepath.Join(root, name, file))
		if err != nil {
			t.Fatal(err)
		}
		r.parse(t, file, string(text))
	}
	if planted != "" {
		r.parse(t, "planted.go", planted)
	}
	compiled, err := exported()
	if err != nil {
		t.Fatal(err)
	}
	open := func(path string) (io.ReadCloser, error) { return os.Open(compiled[path]) }
	config := types.Config{Importer: importer.ForCompiler(r.set, "gc", open)}
	if r.pkg, err = config.Check(module+"/"+name, r.set, r.files, r.info); err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *pureRoom) parse(t *testing.T, file, text string) {
	t.Helper()
	r.files = append(r.files, parseInto(t, r.set, r.name+"/"+file, text).syntax)
}

// surprises lists, each once, what one room does that the logic does without.
func (r *pureRoom) surprises() (found []string) {
	for _, file := range r.files {
		path := r.set.Position(file.Pos()).Filename
		say := func(n ast.Node, text string) {
			if line := fmt.Sprintf("%s:%d: %s", path, r.set.Position(n.Pos()).Line, text); text != "" && !slices.Contains(found, line) {
				found = append(found, line)
			}
		}
		for _, spec := range file.Imports {
			say(spec, r.foreign(path, spec))
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if n != nil {
				say(n, r.statement(n))
				say(n, r.typed(path, n))
			}
			return true
		})
		r.writes(file, say)
	}
	for _, name := range r.pkg.Scope().Names() {
		if v, ok := r.pkg.Scope().Lookup(name).(*types.Var); ok && notConstant(v) != "" {
			found = append(found, fmt.Sprintf("%s: %s", r.set.Position(v.Pos()), notConstant(v)))
		}
	}
	return found
}

// foreign says that an import is not in the list of the room.
func (r *pureRoom) foreign(path string, spec *ast.ImportSpec) string {
	of, _ := strconv.Unquote(spec.Path.Value)
	if _, may := pureImports[r.name][of]; may || besides[path] == of {
		if spec.Name != nil && spec.Name.Name == "." {
			return of + " is named where it is used, or nobody sees what is"
		}
		return ""
	}
	return "the logic is pure and does not import " + of + "; take what you need as an argument"
}

// statement says what is refused by its form alone.
func (r *pureRoom) statement(n ast.Node) string {
	switch n := n.(type) {
	case *ast.GoStmt:
		return "a goroutine; the caller owns concurrency"
	case *ast.SelectStmt:
		return "a select; return a value"
	case *ast.FuncDecl:
		if n.Body == nil {
			return "a function without a body; write it in Go"
		}
	case *ast.BasicLit:
		if n.Kind == token.FLOAT || n.Kind == token.IMAG {
			return "a floating-point number; use integers"
		}
	case *ast.Ident:
		if b, ok := r.info.Uses[n].(*types.Builtin); ok {
			switch b.Name() {
			case "panic", "recover":
				return "a " + b.Name() + "; the logic is total: return what denies"
			case "print", "println":
				return "a " + b.Name() + "; return an event"
			}
		}
	case *ast.SelectorExpr:
		used := r.info.Uses[n.Sel]
		if used == nil || used.Pkg() == nil {
			return ""
		}
		if only := pureImports[r.name][used.Pkg().Path()]; only != nil && used.Parent() == used.Pkg().Scope() && !slices.Contains(only, used.Name()) {
			return used.Pkg().Path() + "." + used.Name() + "; of this package only " + strings.Join(only, " and ")
		}
	}
	return ""
}

// typed says what the type of an expression, or of a name where it is declared,
// brings in, however it came by it: through an alias, a call, a constant, a field.
func (r *pureRoom) typed(path string, n ast.Node) string {
	expression, ok := n.(ast.Expr)
	if !ok {
		return ""
	}
	name, _ := n.(*ast.Ident)
	if s, ok := n.(*ast.SelectorExpr); ok {
		name = s.Sel
	}
	if used := r.info.Uses[name]; used != nil && used.Pkg() != nil && used.Pkg().Path() == besides[path] {
		return ""
	}
	of := r.info.Types[expression]
	if of.Value != nil && (of.Value.Kind() == constant.Float || of.Value.Kind() == constant.Complex) {
		return "a floating-point constant; use integers"
	}
	if name != nil && of.Type == nil {
		for _, object := range []types.Object{r.info.Defs[name], r.info.Uses[name]} {
			if object != nil && object.Parent() != types.Universe {
				of.Type = object.Type()
			}
		}
	}
	return unfit(of.Type, besides[path], map[types.Type]bool{})
}

// unfit says what in a type the logic does without. Types of the package opaque
// are not looked into.
func unfit(t types.Type, opaque string, seen map[types.Type]bool) string {
	if t == nil || seen[t] {
		return ""
	}
	seen[t] = true
	within := func(t types.Type) string { return unfit(t, opaque, seen) }
	switch t := t.(type) {
	case *types.Basic:
		if t.Info()&(types.IsFloat|types.IsComplex) != 0 {
			return "the floating-point type " + t.Name() + "; use integers"
		}
		if t.Kind() == types.UnsafePointer {
			return "an unsafe pointer"
		}
	case *types.Map:
		return "a map, which iterates in random order; use a slice"
	case *types.Chan:
		return "a channel; return a value"
	case *types.Named:
		if of := t.Obj().Pkg(); of != nil && of.Path() == opaque {
			return ""
		}
		return within(t.Underlying())
	case *types.TypeParam:
		return within(t.Constraint())
	case *types.Alias:
		return within(types.Unalias(t))
	}
	for _, part := range parts(t) {
		if text := within(part); text != "" {
			return text
		}
	}
	return ""
}

// parts are the types that a compound type is made of.
func parts(t types.Type) (list []types.Type) {
	switch t := t.(type) {
	case *types.Pointer:
		list = append(list, t.Elem())
	case *types.Slice:
		list = append(list, t.Elem())
	case *types.Array:
		list = append(list, t.Elem())
	case *types.Struct:
		for f := range t.Fields() {
			list = append(list, f.Type())
		}
	case *types.Tuple:
		for v := range t.Variables() {
			list = append(list, v.Type())
		}
	case *types.Signature:
		list = append(list, t.Params(), t.Results())
	case *types.Interface:
		for m := range t.Methods() {
			list = append(list, m.Type())
		}
		for e := range t.EmbeddedTypes() {
			list = append(list, e)
		}
	case *types.Union:
		for term := range t.Terms() {
			list = append(list, term.Type())
		}
	}
	return list
}

func TestPureRoomsHoldNoSurprises(t *testing.T) {
	for name, files := range map[string]int{"monitor": 3, "interlock": 10} {
		room := load(t, name, "")
		for _, found := range room.surprises() {
			t.Error(found)
		}
		if len(room.files) < files {
			t.Errorf("only %d files of %s were checked", len(room.files), name)
		}
	}
}

// breaches are small files, each with one thing that the logic does without, and a
// word of what must be said of it. They compile, or the test fails.
var breaches = []struct{ room, text, said string }{
	{"monitor", `import _ "net/http"`, "does not import net/http"},
	{"interlock", `import _ "os/exec"`, "does not import os/exec"},
	{"interlock", `import _ "log/slog"`, "does not import log/slog"},
	{"monitor", `import "sync/atomic"; func p(n *int64) { atomic.AddInt64(n, 1) }`, "does not import sync/atomic"},
	{"interlock", `import "reflect"; func p(v any) string { return reflect.TypeOf(v).Name() }`, "does not import reflect"},
	{"monitor", `import _ "unsafe"`, "does not import unsafe"},
	{"interlock", `import "time"; func p() int { return time.Now().Second() }`, "does not import time"},
	{"monitor", `import "math/rand"; func p() int { return rand.Int() }`, "does not import math/rand"},
	{"monitor", `import _ "github.com/looplab/fsm"`, "does not import github.com/looplab/fsm"},
	{"monitor", `import _ "strings"`, "does not import strings"},
	{"interlock", `import "fmt"; func p() { fmt.Println() }`, "fmt.Println; of this package only"},
	{"interlock", `import "fmt"; func p() string { show := fmt.Sprint; return show(1) }`, "fmt.Sprint; of this package only"},
	{"interlock", `import . "strconv"; func p() string { return Itoa(1) }`, "strconv is named where it is used"},

	{"monitor", `import "math"; func p(n int) int { return int(math.Sqrt(float64(n))) }`, "floating-point type float64"},
	{"monitor", `func p(n int) int { return int(float32(n)) }`, "floating-point type float32"},
	{"monitor", `const half = 0.5`, "a floating-point number"},
	{"interlock", `const thousand int = 1e3`, "a floating-point number"},
	{"interlock", `import "math"; const most = int(math.MaxUint8 + math.Pi*0)`, "a floating-point constant"},
	{"interlock", `import "strconv"; func p(s string) bool { _, err := strconv.ParseFloat(s, 64); return err == nil }`, "floating-point type float64"},
	{"interlock", `import "strconv"; var parse = strconv.ParseFloat`, "floating-point type float64"},
	{"monitor", `type ohm = float64; func p(r ohm) bool { return r > 3 }`, "floating-point type float64"},
	{"monitor", `type ohm struct{ r [2]struct{ v *float32 } }`, "floating-point type float32"},
	{"monitor", `func p[T ~float64 | ~int](v T) T { return v + v }`, "floating-point type float64"},
	{"monitor", `func p() bool { return 2i*2i == -4 }`, "a floating-point number"},

	{"monitor", `func p() map[int]bool { return nil }`, "a map"},
	{"interlock", `import "net/url"; func p(v url.Values) int { return len(v) }`, "a map"},
	{"interlock", `type set = map[string]int; type sets = []set; func p(s sets) int { return len(s) }`, "a map"},
	{"interlock", `func p[M ~map[int]int](m M) int { return len(m) }`, "a map"},
	{"monitor", `func p(f func()) { go f() }`, "a goroutine"},
	{"monitor", `func p() { select {} }`, "a select"},
	{"monitor", `func p(c <-chan int) (n int) { for n = range c { }; return n }`, "a channel"},
	{"interlock", `import "time"; func p() { <-time.After(1) }`, "a channel"},
	{"interlock", `import "unsafe"; func p(n *int) *int8 { return (*int8)(unsafe.Pointer(n)) }`, "an unsafe pointer"},
	{"monitor", `func p() { panic(1) }`, "a panic"},
	{"monitor", `func p() { defer func() { _ = recover() }() }`, "a recover"},
	{"monitor", `func p() { println() }`, "a println"},
	{"monitor", `func p()`, "a function without a body"},

	{"monitor", `var count int; func p() { count++ }`, "count is changed"},
	{"monitor", `var count int; func p() { count += 2 }`, "count is changed"},
	{"monitor", `var count int; func p() { _, count = 1, 2 }`, "count is changed"},
	{"interlock", `var last [2]struct{ n int }; func p(i int) { last[i].n = i }`, "last is changed"},
	{"interlock", `var last [2]int; func p() { for (last[1]) = range 3 { } }`, "last is changed"},
	{"interlock", `var last [2]int; func p() *int { return &last[1] }`, "last is handed out"},
	{"interlock", `var last [2]int; func p() []int { return last[:] }`, "last is handed out"},
	{"interlock", `type kept struct{ n int }; func (k *kept) add() { k.n++ }; var last [2]kept; func p() { last[1].add() }`, "last is handed out"},
	{"interlock", `type kept struct{ n int }; func (k *kept) add() { k.n++ }; type more struct{ kept }; var last more; func p() func() { return last.add }`, "last is handed out"},
	{"monitor", `var Limits = [...]int{1, 2}`, "Limits can be changed from outside"},
	{"monitor", `var limits = []int{1, 2}`, "limits is no plain data"},
	{"monitor", `var limits = [...]struct{ of []int }{}`, "limits is no plain data"},
	{"monitor", `var last = new(int)`, "last is no plain data"},
	{"monitor", `var last any`, "last is no plain data"},
	{"monitor", `import "errors"; var errLate = errors.New("late")`, "errLate is no plain data"},
	{"monitor", `var next = func() func() int { n := 0; return func() int { n++; return n } }()`, "next is no plain data"},
}

func TestPureRoomsBite(t *testing.T) {
	for _, b := range breaches {
		found := load(t, b.room, "package "+b.room+"; "+b.text).surprises()
		if !slices.ContainsFunc(found, func(text string) bool { return strings.Contains(text, b.said) }) {
			t.Errorf("%s holds %s: %q was to be said, was %q", b.room, b.text, b.said, found)
		}
	}
	for _, room := range []string{"monitor", "interlock"} {
		if found := load(t, room, "package "+room+harmless).surprises(); found != nil {
			t.Errorf("%s: said of what is allowed: %q", room, found)
		}
	}
}

// harmless uses what stands close to a breach and is none.
const harmless = `
type rule struct{ word string; of [2]int }
func (r rule) sum() int { return r.of[0] + r.of[1] }
var rules = [...]rule{{"a", [2]int{1, 2}}, {"b", [2]int{3, 4}}}
var deepest = len(rules)
func p(n int) (sum int, all []rule) {
	copied := rules
	copied[0].of[1]++
	for i, r := range rules {
		r.of[0] = deepest / 2
		sum += r.sum() + rules[i].sum() + 7/2
	}
	one := rules[1].of
	one[0] = n
	return sum, copied[:]
}
`
