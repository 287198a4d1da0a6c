//go:build !unix

package main

import (
	"os"
	"syscall"
)

// deadly signals would end the program at a write.
var deadly = []os.Signal{syscall.SIGPIPE}
