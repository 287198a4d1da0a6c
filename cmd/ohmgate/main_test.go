package main

import (
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"sync"
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
	var all sync.Mutex
	var wrong []string
	undeclared = func(v *verb, code exitCode) {
		all.Lock()
		defer all.Unlock()
		wrong = append(wrong, fmt.Sprintf("%s ends with %d", v.name, code))
	}
	code := m.Run()
	for _, what := range wrong {
		fmt.Println(what + ", and its entry in the table of verbs does not say so")
		code = 1
	}
	os.Exit(code)
}

// asProgram is the environment in which os.Args[0] is the program with these
// arguments.
func asProgram(args ...string) []string {
	return append(os.Environ(), programArguments+"="+strings.Join(args, "\n"))
}
