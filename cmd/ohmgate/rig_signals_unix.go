//go:build unix

package main

import (
	"os"
	"syscall"
)

// deadly signals would end the program at a write: output into a pipe that nobody reads any more, a file that may grow no
// further. As errors of that write they leave time to open the relays.
var deadly = []os.Signal{syscall.SIGPIPE, syscall.SIGXFSZ}
