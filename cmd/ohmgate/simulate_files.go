package main

import (
	"os"
	"path/filepath"

	"ohmgate/sim"
)

// namedFile is a file that the command line names, and as what.
type namedFile struct{ as, path string }

// distinct refuses a command line that would write one file twice, or over what
// it reads: of two recordings under one name only the last would be left, and a
// site file is not there to be written over.
func (o *simulateOptions) distinct(siteFile string, files []string, scenarios []*sim.Scenario, recording *recording) error {
	read := []namedFile{{"the site file", siteFile}}
	for _, file := range files {
		read = append(read, namedFile{"a scenario", file})
	}
	var written []namedFile
	if recording.files != nil {
		for _, sc := range scenarios {
			written = append(written, recording.files(sc, len(scenarios) > 1)...)
		}
	}
	if o.junit != "" {
		written = append(written, namedFile{"--junit", o.junit})
	}
	return apart(read, written)
}

// apart refuses a file that is written twice, or read and written.
func apart(read, written []namedFile) error {
	for i, one := range written {
		if info, err := os.Stat(one.path); err == nil && !info.Mode().IsRegular() {
			continue // a device or a pipe takes whatever comes; a directory is refused elsewhere
		}
		for _, other := range read {
			if sameFile(one.path, other.path) {
				return failed(exitInput, "%s %s would write over %s; name another file", one.as, one.path, other.as)
			}
		}
		for _, other := range written[:i] {
			switch {
			case !sameFile(one.path, other.path):
			case one.as == other.as:
				return failed(exitInput, "two scenarios would write %s %s, since they have one name; rename one of them, or run it by itself", one.as, one.path)
			default:
				return failed(exitInput, "%s and %s would both write %s; name two files", other.as, one.as, one.path)
			}
		}
	}
	return nil
}

// sameFile reports that two names stand for one file, whether it exists or not.
func sameFile(a, b string) bool {
	first, err := os.Stat(a)
	second, err2 := os.Stat(b)
	if err == nil && err2 == nil {
		return os.SameFile(first, second)
	}
	return err != nil && err2 != nil && whole(a) == whole(b)
}

// whole is a name that does not depend on where one stands.
func whole(path string) string {
	if absolute, err := filepath.Abs(path); err == nil {
		path = absolute
	}
	if directory, err := filepath.EvalSymlinks(filepath.Dir(path)); err == nil {
		path = filepath.Join(directory, filepath.Base(path))
	}
	return path
}
