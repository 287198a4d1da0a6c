package graph_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"ohmgate/cmd/ohmgate/coverage"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/graph"
)

// benchOf is a demo site on its bench, with what is verified of it.
func benchOf(t *testing.T, file string) *coverage.Verified {
	t.Helper()
	s, problems := site.Read("../../../testdata/rig/" + file + ".yaml")
	if problems != nil {
		t.Fatal(problems)
	}
	logic, problems := s.Logic()
	if problems != nil {
		t.Fatal(problems)
	}
	wires, problems := wiring.Read(s)
	if problems != nil {
		t.Fatal(problems)
	}
	b, err := coverage.NewBench(s, logic, wires)
	if err != nil {
		t.Fatal(err)
	}
	v, err := b.Verified()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// found is what a bench makes of its graph, without a word of the graph.
type found struct {
	shares []stimulus.Share
	cannot []string // why, in the order of the graph
	closed []int    // how many gaps the scenario for each of some gaps closes
	open   []string
}

// coverageOf covers a bench after a run that saw every third goal, and closes the
// first gaps of each kind.
func coverageOf(v *coverage.Verified) (f found) {
	seen := map[string]bool{}
	for i := 0; i < len(v.Goals); i += 3 {
		seen[v.Goals[i].Text] = true
	}
	c := v.Covered(seen)
	f.shares = c.Shares
	for _, one := range c.Cannot {
		f.cannot = append(f.cannot, one.Because)
	}
	var some []stimulus.Goal
	first := map[stimulus.Kind]bool{}
	for _, gap := range c.Gaps {
		if !first[gap.Kind] {
			first[gap.Kind] = true
			some = append(some, gap)
		}
	}
	closing := v.CloseGaps(some)
	for _, one := range closing.Scenarios {
		f.closed = append(f.closed, len(one.Closes))
	}
	for _, one := range closing.Open {
		f.open = append(f.open, one.Because)
	}
	return f
}

// Whatever a transition is called, a bench has seen as much, can show as much, and
// for the same reasons: nothing is read out of the texts.
func TestRewordingChangesNoCount(t *testing.T) {
	n, placeholder := 0, regexp.MustCompile(`\$\{[a-z]+\}`)
	reworded := func(text string) string {
		n++
		return fmt.Sprintf("w%d~", n) + strings.Join(placeholder.FindAllString(text, -1), "~")
	}
	for _, file := range []string{"bench_siding", "standin_siding"} {
		before := benchOf(t, file)
		said := fmt.Sprintf("%+v", coverageOf(before))
		back := graph.Reword(reworded)
		after := benchOf(t, file)
		now := fmt.Sprintf("%+v", coverageOf(after))
		back()
		if said != now {
			t.Errorf("%s: other words make another coverage:\n%s\n%s", file, said, now)
		}
		if len(before.Goals) != len(after.Goals) || len(before.Goals) < 100 {
			t.Fatalf("%s: %d goals, %d in other words", file, len(before.Goals), len(after.Goals))
		}
		for i := range before.Goals {
			if name := before.Goals[i].Name; strings.TrimPrefix(before.Goals[i].Text, name) == strings.TrimPrefix(after.Goals[i].Text, name) {
				t.Errorf("%s: %q was not reworded", file, before.Goals[i].Text)
			}
		}
	}
}
