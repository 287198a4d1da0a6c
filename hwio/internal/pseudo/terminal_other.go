//go:build !linux

// Package pseudo makes pseudo-terminals; they need Linux.
package pseudo

import "errors"

// Available says that this system has pseudo-terminals.
const Available = false

// Terminal does not exist here.
type Terminal struct{}

// Open says so.
func Open() (*Terminal, error) {
	return nil, errors.New("the twin needs Linux pseudo-terminals: run it there, or use real hardware")
}

// Device does nothing here.
func (t *Terminal) Device() string { return "" }

// Read does nothing here.
func (t *Terminal) Read([]byte) (int, error) { return 0, errors.New("no terminal") }

// Write does nothing here.
func (t *Terminal) Write([]byte) {}

// Unplug does nothing here.
func (t *Terminal) Unplug() {}
