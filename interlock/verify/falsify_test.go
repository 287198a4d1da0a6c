package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// An observer sees nothing broken in the logic that runs, whatever one or two
// things do that go wrong.
func TestObserversSeeNothingInTheRealLogic(t *testing.T) {
	m, err := model.Reference()
	if err != nil {
		t.Fatal(err)
	}
	v, err := newVerification(m, model.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for o := range m.Config.Outputs {
		run := v.falsify(goal{output: o, faults: 2, turns: 120_000,
			is: func(_ *runs.Driver, _ *memory, found model.PropertySet) bool { return found != 0 }})
		if run != nil {
			t.Errorf("%s: %s\n%v\n%v", m.Names.Outputs[o], run.Sentence, run.Lines, run.Slice)
		}
	}
}

// afterwards is the logic with one more thing done to its memory after each scan.
func afterwards(change func(c *interlock.Config, s *interlock.State, d *interlock.Decision)) *model.Logic {
	l := model.Real()
	l.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
		interlock.Step(c, s, in, d)
		change(c, s, d)
	}
	return l
}

// wholeBugs are mistakes in the whole Step, what they break, and how many things
// have to go wrong before they show.
var wholeBugs = []struct {
	name     string
	property model.Property
	output   string
	faults   int
	logic    *model.Logic
}{
	{"a bond without settling", 1, "valve", 0, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		if ch := &s.Channels[2]; ch.Phase == monitor.Settling {
			ch.Control = monitor.Control{Phase: monitor.Bonded, Class: ch.Class}
		}
	})},
	{"doubt is never spent", 4, "valve", 1, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		s.Channels[2].Doubt, s.Channels[2].Stay = min(s.Channels[2].Doubt, 1), 0
	})},
	{"any reset will do", 7, "valve", 1, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		if b := &s.Outputs[0].Button; b.Phase == interlock.Spoiled {
			*b = interlock.Button{Phase: interlock.Pressed, Held: 2}
		}
	})},
	{"nobody waits", 8, "valve", 0, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		s.Vessels[0].Clear = true
	})},
	{"what was not reported is forgotten", 10, "valve", 1, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		s.Outputs[0].Unconfirmed = 0
	})},
	{"a bypass lasts for ever", 11, "valve", 1, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		for i := range s.Bypasses {
			s.Bypasses[i].Active = min(s.Bypasses[i].Active, 1)
		}
	})},
	{"the first-out goes", 13, "valve", 1, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		s.Outputs[0].Trip.FirstOut = interlock.CauseSet{}
	})},
	{"always kicked", 14, "valve", 1, afterwards(func(_ *interlock.Config, _ *interlock.State, d *interlock.Decision) {
		d.Kick = true
	})},
	{"a latch that nothing clears", 15, "valve", 1, afterwards(func(_ *interlock.Config, s *interlock.State, _ *interlock.Decision) {
		if s.Outputs[0].Unconfirmed != 0 {
			s.Outputs[0].SeenHome = false
		}
	})},
}

// A falsifier finds a mistake in the whole Step with the fewest faults that show it,
// and the run that it tells is the run that was found.
func TestFalsifierFindsMistakes(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	for _, bug := range wholeBugs {
		t.Run(bug.name, func(t *testing.T) {
			v, err := newVerification(m, model.Options{Logic: bug.logic, Outputs: []string{bug.output}})
			require.NoError(t, err)
			run := v.falsify(goal{output: v.outputs[0], faults: 2, turns: 200_000, recovery: bug.property == model.PropertyRecovery,
				is: func(_ *runs.Driver, _ *memory, found model.PropertySet) bool { return found.Has(bug.property) }})
			require.NotNil(t, run)
			require.Equal(t, bug.faults, run.Faults, run.Sentence)
			require.NotEmpty(t, run.Slice)
			require.LessOrEqual(t, len(run.Lines), runs.MaxLines)
			t.Log(run.Sentence, run.Expect)
		})
	}
}

// What a search has met and no run of the whole site shows is not shown, and the
// search's own shortest run is told.
func TestWhatNoRunShowsIsToldFromTheSearch(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	v, err := newVerification(m, model.Options{Outputs: []string{"pump"}, Properties: []string{"7"}})
	require.NoError(t, err)
	v.turns = 20_000
	v.Logic.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		s.Ready = true // a mistake in the tables alone: the whole Step is right
		return interlock.StepOutput(c, s, in)
	}
	r, err := v.run()
	require.NoError(t, err)
	require.Len(t, r.Results, 1)
	x := r.Results[0]
	require.Equal(t, NotShown, x.Verdict, x.Says)
	require.Nil(t, x.Counterexample)
	require.NotEmpty(t, x.Searched)
	require.LessOrEqual(t, len(x.Searched), runs.MaxLines)
	require.Contains(t, x.Searched[len(x.Searched)-1], "pump")
	t.Log(x.Says, x.Searched)
}

// What helps a permissive is read from where a cause stands in it.
func TestWanted(t *testing.T) {
	m := bay(t, 3, nil)
	p := parse(t, m, "bond_1 AND (bond_2 OR NOT bond_3)")
	for cause, want := range []interlock.Truth{interlock.True, interlock.True, interlock.False} {
		value, known := model.Wanted(p, cause)
		require.True(t, known)
		require.Equal(t, want, value)
	}
	_, known := model.Wanted(parse(t, m, "bond_1 XOR bond_2"), 0)
	require.False(t, known)
	_, known = model.Wanted(parse(t, m, "bond_1 AND bond_2"), 2)
	require.False(t, known)
}

// A lemma that does not hold lets nothing be shown, whatever was asked for.
func TestALemmaThatDoesNotHoldIsNeverShown(t *testing.T) {
	r := &Report{Results: []Result{{Verdict: Shown}}, Lemmas: []Lemma{{Counter: "bypass"}}}
	require.Equal(t, Shown, r.Verdict())
	r.Lemmas[0].expect(r.Lemmas[0].Expected + 1)
	require.Equal(t, NotShown, r.Verdict())
}

// withArmedKept is the logic with one mistake, in its parts and in the whole Step:
// a reset that was given outlives its conditions.
func withArmedKept() *model.Logic {
	l := model.Real()
	l.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		next, told := interlock.StepOutput(c, s, in)
		next.Armed = next.Armed || s.Armed && next.Mode != interlock.Enabled
		return next, told
	}
	l.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
		was := interlock.NewState(c)
		was.CopyFrom(s)
		interlock.Step(c, s, in, d)
		for i := range s.Outputs {
			o := &s.Outputs[i]
			o.Armed = o.Armed || was.Outputs[i].Armed && o.Mode != interlock.Enabled
		}
	}
	return l
}

// What is found, and the run that shows it, do not depend on how many searches run
// at the same time.
func TestFalsifiersDoNotDependOnTheWorkers(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	var first []Result
	var far []uint8
	for _, workers := range []int{1, 2, 5} {
		v, err := newVerification(m, model.Options{Workers: workers, Outputs: []string{"mixer"}, Properties: []string{"2", "7"}})
		require.NoError(t, err)
		v.Logic = withArmedKept()
		r, err := v.run()
		require.NoError(t, err)
		if first == nil {
			first = r.Results
			require.Equal(t, Violated, first[1].Verdict, first[1].Says)
			require.NotNil(t, first[1].Counterexample)
			t.Log(first[1].Counterexample.Sentence, first[1].Counterexample.Lines)
		}
		require.Equal(t, first, r.Results, "%d workers", workers)

		job := v.jobsOf(2, "reset")[0]
		if distances := v.distancesTo(job, 7); far == nil {
			far = distances.far
			require.NotEmpty(t, far)
		} else {
			require.Equal(t, far, distances.far, "the distances with %d workers", workers)
		}
	}
}
