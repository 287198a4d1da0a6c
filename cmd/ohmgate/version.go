package main

import (
	"runtime/debug"
	"sync"
)

// version is the release. build names the sources that the program was made
// from: `make` sets it to the hash of the source tree. It is the same on every
// processor, because the same run must give the same bytes there.
const version = "0.1.0"

var build string

var toolVersion = sync.OnceValue(func() string {
	if build != "" {
		return version + "+" + build
	}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				return version + "+" + s.Value[:12]
			}
		}
	}
	return version + "+unstamped"
})
