package main

import (
	"bufio"
	"io"
	"os"
	"path/filepath"
)

// writeBeside writes a file under another name in the same directory and
// renames it when it is whole: nobody ever finds a half-written one.
func writeBeside(file string, write func(w io.Writer) error) (err error) {
	temporary, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			temporary.Close()
			os.Remove(temporary.Name())
		}
	}()
	buffered := bufio.NewWriter(temporary)
	if err := write(buffered); err != nil {
		return err
	}
	if err := buffered.Flush(); err != nil {
		return err
	}
	if err := temporary.Chmod(0o644); err != nil {
		return err
	}
	if err := temporary.Close(); err != nil {
		return err
	}
	return os.Rename(temporary.Name(), file)
}
