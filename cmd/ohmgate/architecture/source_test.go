package architecture

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// module is the prefix of our own import paths, root the way to its folder.
const module = "ohmgate"

var root = filepath.Join("..", "..", "..")

type sourceFile struct {
	path, room string // relative to the module's root, with slashes
	test       bool
	syntax     *ast.File
	set        *token.FileSet
}

// eachFile calls f with every file of the project, by its path from the root
// with slashes; what is built, fetched or hidden is left out, .ci is not.
func eachFile(t *testing.T, f func(path string)) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatal("the module's root is not where this test expects it: ", err)
	}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		if d.IsDir() {
			hidden := strings.HasPrefix(d.Name(), ".") && d.Name() != ".ci" && path != root
			if hidden || rel == "build" || rel == "cmd/ohmgate/page/dist" || d.Name() == "node_modules" {
				return filepath.SkipDir
			}
			return nil
		}
		f(rel)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// sources parses every Go file of the project.
func sources(t *testing.T) []sourceFile {
	t.Helper()
	var files []sourceFile
	eachFile(t, func(path string) {
		if strings.HasSuffix(path, ".go") {
			text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(path)))
			if err != nil {
				t.Fatal(err)
			}
			files = append(files, parse(t, path, string(text)))
		}
	})
	if len(files) < 20 {
		t.Fatalf("only %d Go files found: the walk is broken", len(files))
	}
	return files
}

// parse is one source file; path says in which room it stands.
func parse(t *testing.T, path, text string) sourceFile {
	t.Helper()
	return parseInto(t, token.NewFileSet(), path, text)
}

func parseInto(t *testing.T, set *token.FileSet, path, text string) sourceFile {
	t.Helper()
	syntax, err := parser.ParseFile(set, path, text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	return sourceFile{path, path[:max(0, strings.LastIndexByte(path, '/'))], strings.HasSuffix(path, "_test.go"), syntax, set}
}
