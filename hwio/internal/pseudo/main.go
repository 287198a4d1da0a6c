package pseudo

import "os"

// Main runs a package's tests with a temporary directory of their own, so that lock files do not pile up and test
// processes that get the same terminal number one after the other do not wait for each other.
func Main(run func() int) int {
	directory, err := os.MkdirTemp("", "ohmgate-test-")
	if err != nil {
		panic(err)
	}
	defer func() { _ = os.RemoveAll(directory) }()
	if err := os.Setenv("TMPDIR", directory); err != nil {
		panic(err)
	}
	return run()
}
