package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// --emit prints one model and nothing else.
func TestEmitPrintsAModel(t *testing.T) {
	for _, c := range []struct {
		args, begins string
		has          []string
	}{
		{"promela --output valve_1", "/* output valve_1 with channel bond_1 in full detail.\n",
			[]string{"active proctype scan()", "assert(bad7 == 0)", "assert(hit7 == 0)", "#define TRAVEL "}},
		{"murphi --output valve_1 --property 2", "-- output valve_1 with channel bond_1 in full detail.\n",
			[]string{"startstate", `assert bad2 = 0 "bad2"`, `cover hit2 = 1 "hit2"`}},
		{"promela --output valve_1 --vessel car_1", "/* output valve_1 with channel bond_1 in full detail and the charge memory of car_1.\n",
			[]string{"assert(bad8 == 0)", "#define WAIT ", "#define RUN_DOWN_1 "}},
		{"murphi --output pump --vessel car_2 --channel bond_2", "-- output pump with channel bond_2 in full detail and the charge memory of car_2.\n",
			[]string{`assert bad8 = 0 "bad8"`}},
		{"promela --channel bond_1 --property 4", "/* channel bond_1 alone, every counter at its exact value.\n", []string{"assert(bad4 == 0)", "#define BOUND 25\n", "#define LONGEST_STAY 500\n"}},
		{"murphi --channel bond_1 --property 4 --bound 7", "-- channel bond_1 alone", []string{`assert bad4 = 0 "bad4"`, "  BOUND : 7;\n"}},
		{"promela --channel bond_1 --property 5", "/* channel bond_1 alone", []string{"#define SHARE_BAD 1\n", "#define SHARE_OF 2\n", "#define LIMIT 37\n"}},
		{"promela --channel bond_1 --property 6", "/* channel bond_1 alone", []string{"#define FORGIVEN_HIGH 18\n", "#define FORGIVEN_OPEN 0\n", "#define SPACED 126\n"}},
		{"murphi --channel bond_1 --property 9", "-- channel bond_1 alone", []string{`cover hit9 = 1 "hit9"`, "doubt_b"}},
		{"promela --bypass bypass_6 --property 11", "/* bypass bypass_6 alone, every counter at its exact value.\n", []string{"assert(bad11 == 0)", "#define BOUND 48000\n", "#define GAP "}},
		{"murphi --channel bond_1 --property 15", "-- channel bond_1 alone", []string{`assert bad15 = 0 "bad15"`, "  BOUND : 126;\n"}},
	} {
		t.Run(c.args, func(t *testing.T) {
			t.Parallel()
			text, code := call(append([]string{"verify", kestrel, "--emit"}, strings.Fields(c.args)...)...)
			require.Equal(t, exitShown, code, text)
			assert.True(t, strings.HasPrefix(text, c.begins), "%.100q", text)
			for _, want := range c.has {
				assert.Contains(t, text, want)
			}
		})
	}
	text, _ := call("verify", kestrel, "--emit", "murphi", "--output", "valve_1", "--property", "2")
	assert.NotContains(t, text, "assert bad3", "only what was asked for is demanded")
}

// spaced writes the blanks of a bound, in arguments that blanks part.
var spaced = strings.NewReplacer("_in_", " in ", "4_high", "4 high")

// What can not be printed ends with 2 and says what to write instead.
func TestEmitRefuses(t *testing.T) {
	for _, c := range []struct{ args, says string }{
		{"--emit promela", "write --output with one of valve_1"},
		{"--emit c --output valve_1", "a model in c: no such language; write promela or murphi"},
		{"--emit promela --output rack_lamp", "write --channel with one of bond_1"},
		{"--emit promela --output valve_1 --channel bond_2", "write --channel with one of bond_1"},
		{"--emit promela --output valve_1 --vessel car_2", "valve_1 does not charge it; write one of car_1"},
		{"--emit promela --output rack_lamp --vessel car_1", "rack_lamp charges no vessel; leave --vessel out"},
		{"--emit promela --output valve_1 --property 8", "property 8 is not judged by the model of kind reset"},
		{"--emit promela --output valve_1 --vessel car_1 --property 7", "write some of 2 3 8"},
		{"--emit promela", "or of one channel alone, --channel with one of bond_1"},
		{"--emit promela --channel bond_9", "--channel bond_9: the site has no such channel; it has bond_1"},
		{"--emit promela --channel bond_1", "write --property with one of 4 5 6 9 15"},
		{"--emit promela --channel bond_1 --property 4,6", "is a channel beside one property; write --property with one of 4 5 6 9 15"},
		{"--emit promela --channel bond_1 --property 2", "property 2 is not judged by the model of a channel alone; write one of 4 5 6 9 15"},
		{"--emit promela --channel bond_1 --property valve_1_needs_a_car", "write a number"},
		{"--emit promela --channel bond_1 --property 8 --vessel car_1", "write --output as well, or leave --vessel out"},
		{"--emit promela --output valve_1 --property 4", "property 4 is judged by the model of a channel alone; leave --output out"},
		{"--emit promela --output valve_1 --bound 4", "write --channel without --output, or leave --bound out"},
		{"--emit promela --channel bond_1 --property 4 --bound soon", `"soon" is no bound; write scans ("25"), scans of a class ("19 high") or a share ("1 in 5")`},
		{"--emit promela --channel bond_1 --property 4 --bound 0", "a bound of 0 scans is not between 1 and 1000000"},
		{"--emit promela --channel bond_1 --property 4 --bound 1_in_2", "is no number of scans; write one, such as --bound 25"},
		{"--emit promela --channel bond_1 --property 5 --bound 4", `write one, such as --bound "1 in 5"`},
		{"--emit promela --channel bond_1 --property 5 --bound 5_in_5", "is no less than all"},
		{"--emit promela --channel bond_1 --property 6 --bound 4", `names no class; write one, such as --bound "18 high"`},
		{"--emit promela --channel bond_1 --property 9 --bound 4", "leave --bound out"},
		{"--emit promela --channel bond_1 --property 15 --bound 4_high", "is no number of scans; write one, such as --bound 126"},
		{"--emit promela --bypass key_6 --property 11", "the site has no such bypass; it has bypass_6"},
		{"--emit promela --bypass bypass_6", "write --property 11"},
		{"--emit promela --bypass bypass_6 --property 11 --channel bond_6", "leave --output, --channel and --vessel out"},
		{"--emit promela --bypass bypass_6 --property 11 --bound 4_high", "is no number of scans up to 1000000; write one, such as --bound"},
		{"--emit promela --output valve_1 --property 11", "write --bypass instead of --output"},
		{"--bypass bypass_6", "--bypass belongs to --emit"},
		{"--bound 4", "--bound belongs to --emit"},
		{"--vessel car_1", "belongs to --emit"},
		{"--emit promela --joint --output valve_1", "write one of them"},
	} {
		t.Run(c.args, func(t *testing.T) {
			t.Parallel()
			args := append([]string{"verify", kestrel}, strings.Fields(c.args)...)
			for i := range args {
				args[i] = spaced.Replace(args[i])
			}
			text, code := call(args...)
			assert.Equal(t, exitInput, code)
			assert.Contains(t, strings.Join(strings.Fields(text), " "), c.says)
		})
	}
}
