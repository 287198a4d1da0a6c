package verify

import (
	"testing"
)

// A witness sees nothing broken in the logic that runs, whatever one or two
// things do that go wrong.
func TestWitnessSeesNothingInTheRealLogic(t *testing.T) {
	m, err := Reference()
	if err != nil {
		t.Fatal(err)
	}
	v, err := newVerification(m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for o := range m.Config.Outputs {
		run := v.hunt(quarry{output: o, faults: 2, turns: 120_000,
			is: func(_ *driver, _ *sight, found mask) bool { return found != 0 }})
		if run != nil {
			t.Errorf("%s: %s\n%v\n%v", m.Names.Outputs[o], run.Sentence, run.Lines, run.Slice)
		}
	}
}
