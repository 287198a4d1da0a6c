package main

import (
	"flag"
	"os"
	"os/signal"
	"strings"
	"testing"
)

const programArguments = "OHMGATE_TEST_ARGUMENTS" // one a line

// TestMain is the program itself where a test starts this binary again to be it:
// nothing has to be built a second time.
func TestMain(m *testing.M) {
	if text, yes := os.LookupEnv(programArguments); yes {
		os.Exit(int(run(strings.Split(text, "\n"))))
	}
	// The first to ask for signals starts a goroutine that never ends, which no bubble of testing/synctest may hold.
	signal.Notify(make(chan os.Signal, 1), os.Interrupt)
	signal.Reset(os.Interrupt)
	// Only tests that mostly wait, for the clock or for others, run beside others at the top.
	if err := flag.Set("test.parallel", "4"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// asProgram is the environment in which os.Args[0] is the program with these
// arguments.
func asProgram(args ...string) []string {
	return append(os.Environ(), programArguments+"="+strings.Join(args, "\n"))
}
