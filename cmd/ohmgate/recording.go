package main

import "github.com/spf13/cobra"

// recordingFlags adds the flags that choose what a run is recorded to.
func recordingFlags(*cobra.Command) *recording { return &recording{} }
