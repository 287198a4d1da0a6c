package opinion

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock/verify/model"
)

// Answer is what another checker says of a source.
type Answer struct {
	Checker  string
	States   uint64 // 0 where the search ended at its first violation
	Steps    uint64
	Violated []model.Property // properties, in rising order
	Met      []model.Property // properties that had something to say somewhere
	Complete bool
	Searched time.Duration // the search alone, without generating and compiling it
	Worked   time.Duration // of all cores
	Built    time.Duration
	Said     string
}

// Mode is how SPIN is to search.
type Mode struct {
	Define       []string // for spin -a
	Compile, Run []string // for gcc and for pan
}

// Spin lets SPIN search everything, and go on after a violation. With -DMET the
// model demands the reverse, and what is violated is what is met.
func Spin(ctx context.Context, s *Source, directory string, mode Mode) (*Answer, error) {
	began := time.Now()
	if err := os.WriteFile(filepath.Join(directory, "scan.pml"), s.Promela(), 0o644); err != nil {
		return nil, err
	}
	if text, err := in(ctx, directory, "spin", append(mode.Define, "-a", "scan.pml")...); err != nil {
		return nil, fmt.Errorf("spin -a: %w: %s", err, text)
	}
	compile := append([]string{"-O2", "-w", "-DSAFETY", "-DNOREDUCE", "-DNOCLAIM", "-o", "pan", "pan.c"}, mode.Compile...)
	if text, err := in(ctx, directory, "gcc", compile...); err != nil {
		return nil, fmt.Errorf("compiling pan: %w: %s", err, text)
	}
	a := &Answer{Checker: "SPIN", Built: time.Since(began)}
	// The exit code of pan says nothing; what it printed does.
	text, err := a.search(ctx, directory, "./pan", append([]string{"-c0"}, mode.Run...)...)
	if !strings.Contains(text, "errors:") {
		return nil, fmt.Errorf("pan ended without its summary (%v): %s", err, tail(text))
	}
	a.Complete = !strings.Contains(text, "too small") && !strings.Contains(text, "interrupted") && !strings.Contains(text, "out of memory") && !strings.Contains(text, "aborting")
	a.States, a.Steps = numberBefore(text, "states, stored"), numberBefore(text, "transitions (=")
	a.Violated = properties(text, `assertion violated \(?bad(\d+)`)
	a.Met = properties(text, `assertion violated \(?hit(\d+)`)
	if len(a.Violated)+len(a.Met) == 0 && !strings.Contains(text, "errors: 0\n") {
		return nil, fmt.Errorf("pan reports errors that are no property: %s", tail(text))
	}
	return a, nil
}

// inlined lets gcc put rumur's thousand small reads and writes into the rule. It
// takes a second longer to compile and searches twenty times as fast.
var inlined = strings.Fields("-O2 -w -mcx16 --param inline-unit-growth=10000 --param large-function-growth=10000 --param max-inline-insns-auto=1000")

// Rumur lets rumur search everything, or until the first violation.
func Rumur(ctx context.Context, s *Source, directory string, threads int, compile ...string) (*Answer, error) {
	began := time.Now()
	if err := os.WriteFile(filepath.Join(directory, "scan.m"), s.Murphi(), 0o644); err != nil {
		return nil, err
	}
	if text, err := in(ctx, directory, "rumur", "--threads", strconv.Itoa(threads), "--counterexample-trace", "off", "--deadlock-detection", "stuck", "--output", "scan.c", "scan.m"); err != nil {
		return nil, fmt.Errorf("rumur: %w: %s", err, text)
	}
	if text, err := in(ctx, directory, "gcc", append(append(slices.Clone(inlined), "-o", "scan", "scan.c", "-lpthread"), compile...)...); err != nil {
		return nil, fmt.Errorf("compiling what rumur made: %w: %s", err, text)
	}
	a := &Answer{Checker: "rumur", Built: time.Since(began)}
	text, err := a.search(ctx, directory, "./scan")
	a.Violated = properties(text, `bad(\d+)`)
	a.Met = properties(text, `cover "hit(\d+)" hit`)
	// What is never met counts as an error too, and ends no search.
	unmet := properties(text, `cover "hit(\d+)" not hit`)
	a.Complete = len(a.Violated) == 0 && len(a.Met)+len(unmet) == len(s.judged)
	if !a.Complete && len(a.Violated) == 0 {
		return nil, fmt.Errorf("rumur's verifier ended without a verdict (%v): %s", err, tail(text))
	}
	if a.Complete {
		a.States, a.Steps = numberBefore(text, "states,"), numberBefore(text, "rules fired")
	}
	return a, nil
}

// search runs a compiled checker and keeps what it said and how long it took.
func (a *Answer) search(ctx context.Context, directory, name string, args ...string) (string, error) {
	command := exec.CommandContext(ctx, name, args...)
	command.Dir = directory
	began := time.Now()
	text, err := command.CombinedOutput()
	a.Searched, a.Said = time.Since(began), string(text)
	if command.ProcessState != nil {
		a.Worked = command.ProcessState.UserTime() + command.ProcessState.SystemTime()
	}
	return a.Said, err
}

func in(ctx context.Context, directory, name string, args ...string) (string, error) {
	command := exec.CommandContext(ctx, name, args...)
	command.Dir = directory
	text, err := command.CombinedOutput()
	return string(text), err
}

func tail(text string) string { return text[max(0, len(text)-600):] }

// numberBefore is the number that stands before a word for the last time, 0 if
// none does.
func numberBefore(text, word string) uint64 {
	all := regexp.MustCompile(`(\d+)\s+`+regexp.QuoteMeta(word)).FindAllStringSubmatch(text, -1)
	if len(all) == 0 {
		return 0
	}
	n, _ := strconv.ParseUint(all[len(all)-1][1], 10, 64)
	return n
}

// properties lists the numbers that a pattern finds, each once.
func properties(text, pattern string) []model.Property {
	var found model.PropertySet
	for _, match := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
		if n, err := model.ParseProperty(match[1]); err == nil {
			found |= n.Bit()
		}
	}
	return found.List()
}
