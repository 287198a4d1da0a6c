// Package page holds the built page of `serve`, if it was built.
//
// Picture an exhibition case that may be empty: the house works either way, and
// says so at the door.
package page

import (
	"embed"
	"io/fs"
)

// The pattern also takes dist.absent.txt, so that it is never empty.
//
//go:embed all:dist*
var files embed.FS

// Built is the page's files; nil when the program was built without Node.
func Built() fs.FS {
	built, err := fs.Sub(files, "dist")
	if err != nil {
		return nil
	}
	if _, err := fs.Stat(built, "index.html"); err != nil {
		return nil
	}
	return built
}
