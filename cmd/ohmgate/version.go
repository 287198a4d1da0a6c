package main

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"runtime/debug"
	"sync"
)

// version is the release; the hash of the program itself stands beside it in
// every record, so that two builds are never confused.
const version = "0.1.0"

var toolVersion = sync.OnceValue(func() string {
	text := version
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "GOARCH" {
				text += " " + s.Value
			}
		}
	}
	if hash := ownHash(); hash != "" {
		text += " " + hash[:12]
	}
	return text
})

// ownHash is the SHA-256 of this program's file; empty where it cannot be read.
func ownHash() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}
