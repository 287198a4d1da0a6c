package sim

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
)

// Sequences that a naive logic gets wrong and that no demo site has: the sites
// are written here. The others are in testdata/scenarios/practice.

// smallSite is one tank, one clamp and one pump; the marked places vary.
const smallSite = `
site: small
scan: 10 ms
channels:
  bond:
    part: tank
    measures: MEASURES
    kind: metal
    accept: 9 Ω
    reject: 10 Ω
    open_above: 1 kΩ
    valid_up_to: 2 kΩ
    over_range: OVER
    device_stamp: yes
    stale_after: 50 ms
    settle: {time: 200 ms, readings: 5, pause: 50 ms}
    patience: {high: 200 ms, open: 100 ms, invalid: 40 ms, missing: 40 ms}
    counting: consecutive
    longest_doubt: 2 s
inputs:
  here: {use: evidence, stale_after: 50 ms}
  reset: {use: button, stale_after: 50 ms}
  ack: {use: button, stale_after: 50 ms}
outputs:
  pump: {actuator: pump, permissive: PERMISSIVE, restart: RESTART, reset: reset}
vessels:
  tank: {wait: WAIT, rest: 1 s, acknowledge: ack, second_path: SECOND}
streams:
  filling: {kind: liquid, through: [pump], charges: [tank], longest_stop: 1 s}
`

func smallText(changes ...string) string {
	text := strings.NewReplacer(changes...).Replace(smallSite)
	return strings.NewReplacer("MEASURES", "clamp-loop", "OVER", "open", "PERMISSIVE", "bond", "RESTART", "on-reset", "WAIT", "3 s", "SECOND", "1 TΩ").Replace(text)
}

func small(t testing.TB, changes ...string) *site.Site { return readSite(t, smallText(changes...)) }

func refused(t *testing.T, text, because string) {
	t.Helper()
	_, problems := site.Parse("small.yaml", []byte(text))
	require.NotNil(t, problems, "not refused")
	require.Contains(t, strings.Join(strings.Fields(problems.Error()), " "), because)
}

// A loss under bad frames, with a transmitter whose over-range counts as an instrument fault: the
// open end is never "lost", and the wait comes all the same.
func TestLossThroughAnInvalidOverRange(t *testing.T) {
	r, _ := play(t, small(t, "OVER", "invalid"), `
scenario: a1
begin: running
lasts: 12 s
steps:
  - {at: 2 s, do: press, on: reset, for: 0.2 s}
faults:
  - {at: 1 s, fault: clamp_removed, on: bond, until: 1.2 s}
expect:
  - {in order: [bond is unreadable, pump is tripped, bond is bonded], from: 1 s}
  - {never: bond is lost}
  - {within: 100 ms, of: 1 s, that: tank is charged}
  - {event: reset ignored pump, because: wait running, within: 10 ms, of: 2 s}
  - {never: pump is enabled, from: 1.1 s}
`)
	demand(t, r)
}

// A restart without a press is refused where a vessel has a wait.
func TestAutomaticRestartWithAWaitIsRefused(t *testing.T) {
	refused(t, smallText("RESTART", "automatic, reason: nobody near"), "restart")
	_, problems := site.Parse("small.yaml", []byte(smallText("RESTART", "automatic, reason: nobody near", "WAIT", "0 s")))
	require.Nil(t, problems, "without a wait it is allowed")
}

// NOT turns a dead input into unknown, never into a permission.
func TestNotDoesNotTurnADeadInputIntoAGrant(t *testing.T) {
	s := small(t, "PERMISSIVE", "NOT here OR bond")
	r, _ := play(t, s, `
scenario: a11
lasts: 10 s
steps:
  - {at: 5 s, do: press, on: reset, for: 0.2 s}
  - {at: 8 s, do: press, on: reset, for: 0.2 s}
faults:
  - {at: 4 s, fault: input_lost, on: here, until: 6 s}
expect:
  - {that: tank is clear, at: 4.5 s}
  - {within: 50 ms, of: 4.01 s, that: here is unknown}
  - {event: reset ignored pump, because: permissive unknown, within: 10 ms, of: 5 s}
  - {never: pump is enabled, while: here is unknown}
  - {within: 500 ms, of: 8 s, that: pump is enabled}      # an honest 0 does permit: review flags it
`)
	demand(t, r)
}

// alternate writes read: steps that change from scan to scan.
func alternate(channel string, from, scans int, classes ...string) string {
	var b strings.Builder
	for i := range scans {
		fmt.Fprintf(&b, "  - {at: %d scans, read: %s, on: %s, for: 1 scan}\n", from+i, classes[i%len(classes)], channel)
	}
	return b.String()
}

// One budget over all classes. Each class alone would be ridden; together
// they are not, and the class that spent most is named. High spends 1/20, open
// 1/10 a scan: after 6 pairs 18/20, the 7th high 19/20, the 7th open is too much.
func TestDoubtIsOneBudgetOverAllClasses(t *testing.T) {
	r, tape := play(t, small(t), `
scenario: a13
begin: running
lasts: 5 s
steps:
`+alternate("bond", 100, 100, "high", "open")+`
expect:
  - {never: pump is tripped, from: 0 s, to: 112 scans}
  - {within: 1 scan, of: 113 scans, that: pump is tripped}
  - {within: 1 scan, of: 113 scans, that: bond is lost}
`)
	demand(t, r)
	require.Equal(t, monitor.Doubtful, tape.phases[tape.zero+112][0])
	told := ""
	for _, line := range r.Told {
		if line.Kind == "phase" && strings.Contains(line.What, "-> lost") {
			told = line.What
		}
	}
	require.Equal(t, "doubtful -> lost, open", told, "open spent 14 of 21 parts")
}

// Between neither spends nor repays, so high and between at the limit do
// not permit for ever.
func TestBetweenDoesNotRepay(t *testing.T) {
	r, _ := play(t, small(t), `
scenario: a14
begin: running
lasts: 5 s
steps:
`+alternate("bond", 100, 100, "high", "between", "between")+`
expect:
  - {never: pump is tripped, from: 0 s, to: 156 scans}
  - {within: 0 scans, of: 157 scans, that: pump is tripped}     # the 20th high scan
`)
	demand(t, r)
}

// A longest stay in doubtful ends what neither gets worse nor better.
func TestDoubtfulDoesNotLastForEver(t *testing.T) {
	r, _ := play(t, small(t), `
scenario: a14 stay
begin: running
lasts: 5 s
steps:
  - {at: 1 s, read: high, on: bond, for: 1 scan}
  - {at: 101 scans, read: between, on: bond}
expect:
  - {always: bond is doubtful, from: 1 s, to: 299 scans}
  - {within: 0 scans, of: 300 scans, that: [bond is lost, pump is tripped]}
`)
	demand(t, r)
}

// Half an hour is 180,000 scans, more than 16 bits; nothing wraps.
func TestLongWaitsDoNotWrap(t *testing.T) {
	r, _ := play(t, small(t, "WAIT", "30 min"), `
scenario: a17
lasts: 1810 s
steps:
  - {at: 0 s, do: connect, on: bond}
expect:
  - {never: wait over tank, from: 0 s, to: 1800.9 s}
  - {event: wait over tank, within: 2 s, of: 1800 s}
`)
	demand(t, r)
}

// What is no number never becomes a good one.
func TestOverloadNeverBecomesAGoodReading(t *testing.T) {
	for ohms, want := range map[float64]monitor.Quality{
		math.Inf(1): monitor.OverRange, 9.9e37: monitor.OverRange, math.MaxFloat64: monitor.OverRange,
		2000.001: monitor.OverRange, 2000: monitor.Valid, 0: monitor.Valid, 9.3e12: monitor.OverRange,
	} {
		_, quality := ToReading(ohms, 2000)
		require.Equal(t, want, quality, "%g Ω", ohms)
	}
	_, quality := ToReading(math.NaN(), 2000)
	require.Equal(t, monitor.Bad, quality)
	for _, ohms := range []float64{-1e-6, -5, -1e30, math.Inf(-1)} {
		value, quality := ToReading(ohms, 2000)
		require.Equal(t, monitor.Valid, quality)
		require.Negative(t, int64(value), "%g Ω", ohms)
	}
	value, _ := ToReading(9.6, 2000)
	require.EqualValues(t, 9_600_000, value)
	value, _ = ToReading(1e12, 2e12)
	require.EqualValues(t, 1_000_000_000_000_000_000, value)
}

// Rails of 3 Ω hide a bond strap that is gone, and they do earth the car,
// until the next one stands past an insulated joint.
func TestRailsHideABrokenStrap(t *testing.T) {
	s := small(t, "MEASURES", "earth-path", "SECOND", "3 Ω")
	r, tape := play(t, s, `
scenario: a19
begin: running
lasts: 5 s
faults:
  - {at: 1 s, fault: strap_left_out, on: bond}
expect:
  - {always: [bond is bonded, pump is enabled]}
  - {never: bond is lost}
`)
	demand(t, r)
	require.InDelta(t, 0.17, tape.ohms[tape.at(900*time.Millisecond)][0], 0.01)
	require.InDelta(t, 3, tape.ohms[tape.at(2*time.Second)][0], 0.01, "the rails alone")
	values := values(t, tape, 0, 2*time.Second, 5*time.Second)
	require.InDelta(t, 3.18, mean(values), 0.05, "a good reading")
}

// Voting among channels that watch different vessels is refused.
func TestVotingAcrossVesselsIsRefused(t *testing.T) {
	text := smallText("PERMISSIVE", `"2oo2(bond, other)"`)
	second := "  other: {part: tank_2, measures: clamp-loop, kind: metal, accept: 9 Ω, reject: 10 Ω, open_above: 1 kΩ, over_range: open, device_stamp: yes, stale_after: 50 ms, settle: {time: 200 ms, readings: 5}, patience: {high: 200 ms, open: 100 ms, invalid: 40 ms, missing: 40 ms}, counting: consecutive, longest_doubt: 2 s}\ninputs:\n"
	text = strings.Replace(text, "inputs:\n", second, 1)
	text = strings.Replace(text, "vessels:\n", "vessels:\n  tank_2: {}\n", 1)
	refused(t, text, "cannot vote")
}

// Backups that call each other are refused.
func TestBackupsInACircleAreRefused(t *testing.T) {
	text := smallText("reset: reset}", "reset: reset, backup: [valve], backup_when: at once}\n  valve: {actuator: valve, permissive: bond, restart: on-reset, reset: reset, backup: [pump], backup_when: at once}")
	refused(t, text, "backup")
}

// Chatter that the consecutive rule forgives for ever is trapped by the
// integrating rule; both on the same channel, same seed.
func TestChatterUnderBothCountingRules(t *testing.T) {
	scenario := func(must string) string {
		return `
scenario: a27
seed: 4
begin: running
lasts: 60 s
faults:
  - {at: 1 s, fault: chatter, on: bond, open: 20 Ω, made: 60 ms, broken: 40 ms}
expect:
  - ` + must + "\n"
	}
	tripped := "{within: 10 s, of: 1 s, that: pump is tripped}"
	r, _ := play(t, small(t, "counting: consecutive", "counting: integrating 4:1"), scenario(tripped))
	demand(t, r)
	r, _ = play(t, small(t), scenario(tripped))
	require.Equal(t, verdict.Violated, r.Outcomes[0].Verdict, "consecutive forgives it")
	require.NotEmpty(t, r.Margins)
	require.Less(t, r.Margins[0].Share, 0.7, "but how close it came is told")
}

// Faults combine and overlap: noise on a corroding contact, over a poor line,
// while the mains hum, a burst passes and a wire is cut in the middle of it.
func TestFaultsCombine(t *testing.T) {
	r, tape := play(t, small(t), `
scenario: together
seed: 5
begin: running
lasts: 20 s
faults:
  - {at: 1 s, fault: corrosion, on: bond, to: 5 Ω, over: 4 s}
  - {at: 1 s, fault: noise, on: bond, deviation: 100 mΩ}
  - {at: 2 s, fault: lost_samples, on: bond, share: 2 %}
  - {at: 3 s, fault: mains_pickup, on: bond, amplitude: 1 mV, frequency: 47 Hz}
  - {at: 4 s, fault: drift, on: bond, by: 1 Ω, over: 2 s}
  - {at: 8 s, fault: broken_wire, on: bond, until: 9 s}
  - {at: 8.5 s, fault: bus_cut, until: 8.7 s}
  - {at: 10 s, fault: corrosion, on: bond, to: 6 Ω, over: 1 s}
expect:
  - {never: pump is tripped, from: 0 s, to: 8 s}
  - {within: 200 ms, of: 8 s, that: pump is tripped}
  - {that: bond reads good, at: 9.5 s}
  - {that: bond is bonded, at: 9.9 s}
  - {within: 3 s, of: 10 s, that: bond is lost}
`)
	demand(t, r)
	require.Equal(t, []string{"corrosion bond", "noise bond", "lost_samples bond", "mains_pickup bond", "drift bond", "broken_wire bond", "bus_cut"},
		tape.faults[tape.at(8600*time.Millisecond)])
	list := values(t, tape, 0, 6500*time.Millisecond, 8*time.Second)
	require.InDelta(t, 0.18+5+1, mean(list), 0.1)
	require.InDelta(t, math.Sqrt(0.5+0.01), deviation(list), 0.1, "1 Ω of hum and 0.1 Ω of noise")
}
