package main

import (
	"io"

	"ohmgate/sim/trace"
)

// writeBeside writes a file under another name in the same directory and
// renames it when it is whole: nobody ever finds a half-written one.
func writeBeside(file string, write func(w io.Writer) error) error {
	f, err := trace.Create(file)
	if err != nil {
		return err
	}
	if err := write(f); err != nil {
		f.Discard()
		return err
	}
	return f.Commit()
}
