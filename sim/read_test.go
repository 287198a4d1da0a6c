package sim

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBrokenScenariosAreRefusedWithTheirPlace: one clear complaint each, with
// line and column and what to write instead.
func TestBrokenScenariosAreRefusedWithTheirPlace(t *testing.T) {
	head := "scenario: x\nlasts: 10 s\n"
	step := func(s string) string { return head + "steps:\n  - " + s + "\n" }
	broken := func(s string) string { return head + "faults:\n  - " + s + "\n" }
	expect := func(s string) string { return head + "expect:\n  - " + s + "\n" }
	cases := []struct{ text, where, what, instead string }{
		{"lasts: 10 s\n", "x.yaml:1:1", `"scenario" is missing`, "scenario: name"},
		{"scenario: x\n", "x.yaml:1:1", `"lasts" is missing`, "lasts: 10 s"},
		{"scenario: x\nlasts: 10\n", "x.yaml:2:8", "no unit", "write 10"},
		{"scenario: x\nlasts: 10 Ω\n", "x.yaml:2:8", "is a resistance", "such as"},
		{"scenario: ../x\nlasts: 10 s\n", "x.yaml:1:11", "no name for a scenario", "letters"},
		{"scenario: \"\"\nlasts: 10 s\n", "x.yaml:1:11", "no name for a scenario", "letters"},
		{"scenario: \"a\\nb\"\nlasts: 10 s\n", "x.yaml:1:11", "no name for a scenario", "letters"},
		{head + "title: \"\\e[31m\"\n", "x.yaml:3:8", "control character", "plain text"},
		{head + "sceed: 3\n", "x.yaml:3:1", `unknown key "sceed"`, "write seed"},
		{head + "seed: many\n", "x.yaml:3:7", "no seed", "such as 7"},
		{head + "lasts: 3 s\n", "x.yaml:3:1", "a second time", "keep one"},
		{head + "begin: redy\n", "x.yaml:3:8", "no beginning", "ready"},
		{head + "except: [bond]\n", "x.yaml:1:1", "begin: ready", "delete"},
		{head + "site: other\n", "x.yaml:3:7", "written for the site", "right site file"},
		{step("{do: connect, on: bond}"), "x.yaml:4:5", `"at" is missing`, "at: 10 s"},
		{step("{at: 11 s, do: connect, on: bond}"), "x.yaml:4:10", "after the end", "last longer"},
		{step("{at: 10 s, do: connect, on: bond}"), "x.yaml:4:10", "no scan follows", "last longer"},
		{broken("{at: 10 s, fault: noise, on: bond}"), "x.yaml:4:10", "no scan follows", "last longer"},
		{step("{at: 1 s, do: conect, on: bond}"), "x.yaml:4:19", "nobody can", "write connect"},
		{step("{at: 1 s, do: connect, on: bont}"), "x.yaml:4:32", `no channel called "bont"`, "write bond"},
		{step("{at: 1 s, do: press, on: bond}"), "x.yaml:4:30", "is a channel", "input"},
		{step("{at: 1 s, do: set, on: here, to: maybe}"), "x.yaml:4:38", "neither yes nor no", "yes or no"},
		{step("{at: 1 s, do: connect, on: bond, to: rust}"), "x.yaml:4:42", "nothing to connect to", "paint"},
		{step("{at: 1 s, do: hold, on: reset, for: 1 s}"), "x.yaml:4:41", "only press and turn", "delete for"},
		{step("{at: 1 s, read: hi, on: bond}"), "x.yaml:4:21", "never reads", "high"},
		{step("{at: 1 s, read: 2, on: reset}"), "x.yaml:4:21", "never reads", "0, 1"},
		{step("{at: 1 s}"), "x.yaml:4:5", "neither does nor reads", "write do"},
		{step("{at: 1 s, do: connect, on: bond, strength: 3}"), "x.yaml:4:38", `unknown key "strength"`, "use one of"},
		{broken("{at: 1 s, fault: clamp_removd, on: bond}"), "x.yaml:4:22", "no fault is called", "clamp_removed"},
		{broken("{at: 1 s, fault: corrosion}"), "x.yaml:4:5", "acts on a channel", "on:"},
		{broken("{at: 1 s, fault: corrosion, on: bond, to: 5}"), "x.yaml:4:47", "no unit", "Ω"},
		{broken("{at: 1 s, fault: corrosion, on: bond, too: 5 Ω}"), "x.yaml:4:43", `unknown key "too"`, "write to"},
		{broken("{at: 1 s, fault: saturation, on: bond}"), "x.yaml:4:5", "needs top", "top:"},
		{broken("{at: 1 s, fault: frozen_reading, on: bond, stamp: walks}"), "x.yaml:4:55", `never "walks"`, "stands or runs"},
		{broken("{at: 1 s, fault: power_dip, on: bond}"), "x.yaml:4:5", "acts on the logic", "delete on"},
		{broken("{at: 5 s, fault: noise, on: bond, until: 4 s}"), "x.yaml:4:46", "ends before it begins", "later"},
		{broken("{at: 5 s, fault: clamp_put_back, on: bond, until: 6 s}"), "x.yaml:4:55", "does not end", "delete until"},
		{expect("{always: []}"), "x.yaml:4:14", "empty list", "at least one"},
		{expect("{in order: []}"), "x.yaml:4:16", "empty list", "at least one"},
		{expect("{within: 1 s, of: [], that: pump is tripped}"), "x.yaml:4:23", "empty list", "at least one"},
		{expect("{within: 1 s, of: {bond: lost}, that: pump is tripped}"), "x.yaml:4:23", "a list of names", "[first, second]"},
		{expect("{first-out of: [pump, pump], is: bond}"), "x.yaml:4:5", "one output", "name one"},
		{expect("{first-out of: pump, is: []}"), "x.yaml:4:30", "empty list", "at least one"},
		{expect("{never: pump is tripped, from: 4 s, to: 2 s}"), "x.yaml:4:45", "2 s is before 4 s", "after from"},
		{expect("{that: pump is tripped, at: 10 s}"), "x.yaml:4:33", "no scan follows", "earlier"},
		{step("{at: 1 s, do: connect, on: []}"), "x.yaml:4:32", "empty list", "at least one"},
		{expect("{that: pump is tripped}"), "x.yaml:4:5", "no form of expectation", "within:"},
		{expect("{within: 1 s, of: 1 s, that: pump is triped}"), "x.yaml:4:34", `never "triped"`, "write tripped"},
		{expect("{within: 1 s, of: 1 s, that: pomp is tripped}"), "x.yaml:4:34", `nothing is called "pomp"`, "write pump"},
		{expect("{within: 1 s, of: 9.5 s, that: pump is tripped}"), "x.yaml:4:14", "ends before this time", "last longer"},
		{expect("{within: 1 s, of: 1 s, event: pump is tripped}"), "x.yaml:4:35", "is no event", "that:"},
		{expect("{never: waits over tank}"), "x.yaml:4:13", "no event of tank", "wait over"},
		{expect("{that: pump reads open, at: 1 s}"), "x.yaml:4:12", "only a channel reads", "is"},
		{expect("{that: bond reads loud, at: 1 s}"), "x.yaml:4:12", "no class", "missing"},
		{expect("{that: pump is withheld for fun, at: 1 s}"), "x.yaml:4:12", "no reason", "wait"},
		{expect("{in order: [pump is tripped]}"), "x.yaml:4:5", "an order of one", "at least two"},
		{expect("{first-out of: bond, is: [bond], at: 1 s}"), "x.yaml:4:20", "is a channel", "output"},
		{expect("{first-out of: pump, at: 1 s}"), "x.yaml:4:5", "which causes", "is:"},
		{expect("{never: pump is tripped, from: 12 s}"), "x.yaml:4:36", "after the end", "earlier"},
		{head + "steps: {at: 1 s}\n", "x.yaml:3:8", "wants a list", "dash"},
		{head + "title: &a x\nwhy: *a\n", "x.yaml:3:8", "anchor", "write the value out"},
		{"", "x.yaml:1:1", "empty", "scenario: name"},
		{"- 1\n", "x.yaml:1:1", "keys and values", "scenario"},
	}
	s := small(t)
	for _, c := range cases {
		_, problems := ParseScenario("x.yaml", []byte(c.text), s)
		if !assert.NotNil(t, problems, c.text) {
			continue
		}
		told := problems[0]
		place := strings.SplitN(told.Error(), " ", 2)[0]
		assert.Equal(t, c.where+":", place, "%s\n%s", c.text, problems.Error())
		assert.Contains(t, told.Text, c.what, c.text)
		assert.Contains(t, told.Instead, c.instead, c.text)
	}
}

func TestAClassThatAChannelNeverShowsIsRefused(t *testing.T) {
	s := small(t, "accept: 9 Ω", "accept: 10 Ω")
	_, problems := ParseScenario("x.yaml", []byte("scenario: x\nlasts: 1 s\nsteps:\n  - {at: 0 s, read: between, on: bond}\n"), s)
	require.ErrorContains(t, problems.Err(), "can never read between")
}

func TestEverythingWrongIsToldAtOnce(t *testing.T) {
	_, problems := ParseScenario("x.yaml", []byte("scenario: x\nlasts: 10\nseed: a\nsteps:\n  - {at: 1 s, do: fly}\nexpect:\n  - {never: x}\n"), small(t))
	require.Len(t, problems, 4)
	for i := 1; i < len(problems); i++ {
		require.Greater(t, problems[i].Line, problems[i-1].Line)
	}
}

func TestABeginningThatIsNotReachedIsAnInputError(t *testing.T) {
	s := readSite(t, "kestrel_siding")
	sc, problems := ParseScenario("x.yaml", []byte("scenario: x\nbegin: running\nlasts: 1 s\nexpect:\n  - {never: pump is tripped}\n"), s)
	require.Nil(t, problems)
	_, err := Run(s, sc, Options{})
	require.ErrorContains(t, err, "does not get to")
	require.ErrorContains(t, err, "pump kept out: ")
	require.ErrorContains(t, err, "x.yaml:2:8: ")
}

// FuzzScenario: no text makes the reader panic, and what it accepts it can play.
func FuzzScenario(f *testing.F) {
	s := small(f)
	f.Add([]byte(pulled + "  - {that: pump is tripped, at: 5 s}\n"))
	f.Add([]byte("scenario: x\nlasts: 10 scans\nsteps:\n  - {at: 3 scans, read: high, on: bond, for: 2 scans}\n"))
	f.Add([]byte("scenario: [\nlasts: {"))
	f.Add([]byte("scenario: x\nlasts: 1 s\nfaults:\n  - {at: 0 s, fault: drift, on: bond, by: -3 Ω}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		sc, problems := ParseScenario("fuzz.yaml", data, s)
		if problems != nil {
			require.Nil(t, sc)
			require.NotEmpty(t, problems.Error())
			return
		}
		if sc.Lasts.ceil(s.Period.Max) > 2000 {
			return
		}
		_, err := Run(s, sc, Options{})
		if err != nil {
			require.ErrorContains(t, err, "fuzz.yaml", "only the beginning may be unreachable")
		}
	})
}
