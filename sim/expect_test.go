package sim

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
)

// pulled is a run of the small site with one loss at 1 s and one press at 8 s.
const pulled = `
scenario: pulled
begin: running
lasts: 10 s
steps:
  - {at: 7.8 s, do: press, on: ack, for: 0.15 s}
  - {at: 8 s, do: press, on: reset, for: 0.2 s}
faults:
  - {at: 1 s, fault: clamp_removed, on: bond, until: 2 s}
expect:
`

// TestVerdictsOfExpectations plays one run under every form of expectation, as
// it should be, as it is not, and about something that never comes up.
func TestVerdictsOfExpectations(t *testing.T) {
	cases := []struct {
		line string
		want verdict.Verdict
	}{
		{"{within: 100 ms, of: 1 s, that: pump is tripped}", verdict.Shown},
		{"{within: 80 ms, of: 1 s, that: pump is tripped}", verdict.Violated},
		{"{within: 10 scans, of: 100 scans, that: [bond is lost, pump is tripped]}", verdict.Shown},
		{"{within: 1 s, of: pump is tripped, that: bond is bonded}", verdict.Violated},
		{"{within: 2 s, of: pump is tripped, that: bond is bonded}", verdict.Shown},
		{"{within: 1 s, of: bond is unreadable, that: bond is bonded}", verdict.NothingChecked},
		{"{within: 2 s, of: [bond is lost, pump is tripped], that: bond is bonded}", verdict.Shown},
		{"{within: 1 s, of: [bond is lost, pump is tripped], that: bond is bonded}", verdict.Violated},
		{"{within: 9 s, of: [bond is lost, pump is enabled], that: bond is bonded}", verdict.NothingChecked},
		{"{within: 1 s, of: 3 s, that: pump is tripped}", verdict.NothingChecked},
		{"{within: 1 s, of: 0 s, that: pump is enabled}", verdict.Shown},
		{"{event: reconnected early tank, within: 10 ms, of: 2 s}", verdict.Shown},
		{"{event: reconnected early tank, within: 10 ms, of: 3 s}", verdict.Violated},
		{"{event: reset given pump, within: 1 s, of: event that never is}", verdict.NothingChecked},
		{"{never: pump is enabled, from: 1.1 s, to: 8 s}", verdict.Shown},
		{"{never: pump is enabled, from: 1.1 s, to: 9 s}", verdict.Violated},
		{"{never: pump is enabled, while: bond is lost}", verdict.Shown},
		{"{never: pump is enabled, while: bond is unreadable}", verdict.NothingChecked},
		{"{never: reset given pump, from: 0 s, to: 8 s}", verdict.Shown},
		{"{never: bond is lost, from: 0 s, to: 0.9 s}", verdict.Shown},
		{"{in order: [bond is doubtful, bond is lost, pump is tripped, reset given pump]}", verdict.Shown},
		{"{in order: [pump is tripped, bond is doubtful]}", verdict.Violated},
		{"{in order: [bond is lost, bond is unreadable]}", verdict.Violated},
		{"{in order: [bond is unreadable, bond is lost]}", verdict.Violated},
		{"{in order: [bond is unreadable, tank is waiting], from: 9 s}", verdict.NothingChecked},
		{"{until: wait over tank, that: pump is tripped, from: 1.2 s}", verdict.Shown},
		{"{until: wait over tank, that: bond is lost, from: 1.2 s}", verdict.Violated},
		{"{until: bond is unreadable, that: pump is enabled, from: 9 s}", verdict.NothingChecked},
		{"{until: tank is charged, that: pump is tripped, from: 2 s}", verdict.NothingChecked},
		{"{first-out of: pump, is: [bond], at: 3 s}", verdict.Shown},
		{"{first-out of: pump, is: [bond], order: known, at: 3 s}", verdict.Shown},
		{"{first-out of: pump, is: [bond], order: not known, at: 3 s}", verdict.Violated},
		{"{first-out of: pump, is: [here], at: 3 s}", verdict.Violated},
		{"{first-out of: pump, is: [bond], at: 0.5 s}", verdict.NothingChecked},
		{"{first-out of: pump, is: [bond], from: 2 s, to: 8 s}", verdict.Shown},
		{"{first-out of: pump, is: [bond], from: 9 s}", verdict.NothingChecked},
		{"{that: pump is tripped, at: 5 s}", verdict.Shown},
		{"{that: pump is enabled, at: 5 s}", verdict.Violated},
		{"{that: pump is not enabled, at: 5 s}", verdict.Shown},
		{"{that: pump is withheld for wait, at: 3 s}", verdict.Shown},
		{"{that: pump is withheld for start, at: 3 s}", verdict.Violated},
		{"{that: pump is energised, at: 0.5 s}", verdict.Shown},
		{"{that: pump is energised, at: 3 s}", verdict.Violated},
		{"{always: watchdog is kicked}", verdict.Shown},
		{"{never: watchdog is kicked, from: 2 s, to: 2 s}", verdict.Violated},
		{"{always: bond is fit to keep, from: 3 s}", verdict.Shown},
		{"{always: pump is enabled}", verdict.Violated},
		{"{that: [bond reads open, tank is reconnected early], at: 3 s}", verdict.Violated},
		{"{that: [bond reads good, tank is reconnected early, filling is stopped, reset is off, bond is earthed], at: 3 s}", verdict.Shown},
	}
	s := small(t)
	for _, c := range cases {
		line := c.line
		if line == "{event: reset given pump, within: 1 s, of: event that never is}" {
			line = "{event: reset given pump, within: 1 s, of: bypass}"
			_, problems := ParseScenario("x", []byte(pulled+"  - "+line), s)
			require.NotNil(t, problems, "an event that the site can not have is refused")
			continue
		}
		r, _ := play(t, s, pulled+"  - "+line)
		o := r.Outcomes[0]
		require.Equal(t, c.want, o.Verdict, "%s: %s (%s)\n%s", c.line, o.Verdict, o.Detail, storyText(r, 1000))
		require.NotEmpty(t, o.Detail)
		require.Equal(t, c.want, r.Verdict())
	}
}

// TestNothingIsShownByDoingNothing: a run in which nothing happens, or in which
// nothing is expected, has checked nothing.
func TestNothingIsShownByDoingNothing(t *testing.T) {
	s := small(t)
	r, _ := play(t, s, "scenario: empty\nlasts: 1 s\n")
	require.Equal(t, verdict.NothingChecked, r.Verdict(), "no expectations")
	for _, line := range []string{
		"{never: pump is enabled}", "{never: bond is lost}", "{in order: [bond is lost, pump is tripped]}",
		"{until: pump is tripped, that: pump is kept out}", "{first-out of: pump, is: [bond]}",
		"{within: 100 ms, of: bond is lost, that: pump is tripped}", "{never: pump is enabled, while: bond is lost}",
	} {
		r, _ := play(t, s, "scenario: still\nlasts: 1 s\nexpect:\n  - "+line)
		require.Equal(t, verdict.NothingChecked, r.Verdict(), line)
	}
	r, _ = play(t, s, "scenario: late\nlasts: 2 s\nsteps:\n  - {at: 1.5 s, do: connect, on: bond}\nexpect:\n  - {never: pump is enabled, from: 0 s, to: 1 s}")
	require.Equal(t, verdict.NothingChecked, r.Verdict(), "what happens later does not exercise it")
}

func TestOneUnexercisedExpectationSpoilsTheRunAndAViolationOutranksIt(t *testing.T) {
	s := small(t)
	good := "  - {that: pump is tripped, at: 5 s}\n"
	idle := "  - {first-out of: pump, is: [bond], from: 9 s}\n"
	bad := "  - {that: pump is enabled, at: 5 s}\n"
	r, _ := play(t, s, pulled+good+idle)
	require.Equal(t, verdict.NothingChecked, r.Verdict())
	r, _ = play(t, s, pulled+idle+good+bad)
	require.Equal(t, verdict.Violated, r.Verdict())
	r, _ = play(t, s, pulled+good)
	require.Equal(t, verdict.Shown, r.Verdict())
}

func TestMarginsNameTheTightestMoment(t *testing.T) {
	r, _ := play(t, small(t), `
scenario: margins
begin: running
lasts: 10 s
steps:
  - {at: 1 s, read: high, on: bond, for: 5 scans}
  - {at: 2 s, read: high, on: bond, for: 18 scans}
  - {at: 3 s, read: missing, on: bond, for: 7 scans}
  - {at: 5 s, do: disconnect, on: bond}
expect:
  - {within: 200 ms, of: 5 s, that: pump is tripped}
`)
	demand(t, r)
	require.Len(t, r.Margins, 2)
	require.InDelta(t, 0.1, r.Margins[0].Share, 1e-9, "18 of 20 scans of patience were spent")
	require.EqualValues(t, 217, r.Margins[0].Scan)
	require.Equal(t, "bond: 10 % of its patience left", r.Margins[0].What)
	require.InDelta(t, 11.0/20, r.Margins[1].Share, 1e-9)
}

// TestReadStepsAreExactToTheScan: what a read: step says is what the logic gets,
// in those scans and in no other.
func TestReadStepsAreExactToTheScan(t *testing.T) {
	s := small(t)
	_, r := play(t, s, `
scenario: exact
lasts: 30 scans
steps:
  - {at: 0 scans, read: good, on: bond, for: 3 scans}
  - {at: 3 scans, read: repeated, on: bond, for: 2 scans}
  - {at: 5 scans, read: missing, on: bond, for: 1 scan}
  - {at: 6 scans, read: invalid, on: bond, for: 1 scan}
  - {at: 7 scans, read: open, on: bond, for: 1 scan}
  - {at: 8 scans, read: high, on: bond, for: 1 scan}
  - {at: 9 scans, read: between, on: bond, for: 1 scan}
  - {at: 10 scans, read: 9.6 Ω, on: bond, for: 1 scan}
  - {at: 11 scans, read: -1 uΩ, on: bond, for: 1 scan}
  - {at: 12 scans, read: good, on: bond}
  - {at: 20 scans, read: plant, on: bond}
  - {at: 0 scans, read: 1, on: reset}
  - {at: 10 scans, read: 0, on: reset}
  - {at: 11 scans, read: unknown, on: reset}
  - {at: 12 scans, read: nothing, on: reset}
  - {at: 13 scans, do: restart}
  - {at: 14 scans, do: overrun}
`)
	valid := func(v monitor.Microohm, stamp uint16) monitor.Reading {
		return monitor.Reading{Value: v, Quality: monitor.Valid, Stamp: stamp}
	}
	want := []monitor.Reading{
		valid(9e6, 1), valid(9e6, 2), valid(9e6, 3), valid(9e6, 3), valid(9e6, 3),
		{Stamp: 4}, {Quality: monitor.Bad, Stamp: 5}, {Quality: monitor.OverRange, Stamp: 6},
		valid(10e6+1, 7), valid(10e6, 8), valid(9_600_000, 9), valid(-1, 10), valid(9e6, 11),
	}
	for scan, reading := range want {
		require.Equal(t, reading, r.readings[scan][0], "scan %d", scan)
	}
	require.Equal(t, monitor.OverRange, r.readings[20][0].Quality, "the plant's own: a clamp hanging free")
	reset := inputOf(r, "reset")
	for scan, want := range map[int]uint8{0: 3, 9: 3, 10: 2, 11: 1, 12: 0, 29: 0} {
		require.EqualValues(t, want, r.signals[scan][reset], "scan %d", scan)
	}
	for scan := range 30 {
		require.Equal(t, scan == 13 || scan == 0, r.powerUps[scan], "scan %d", scan)
		require.Equal(t, scan == 14, r.overruns[scan], "scan %d", scan)
	}
}
