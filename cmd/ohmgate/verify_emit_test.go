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
	} {
		text, code := call(append([]string{"verify", kestrel, "--emit"}, strings.Fields(c.args)...)...)
		require.Equal(t, exitShown, code, text)
		assert.True(t, strings.HasPrefix(text, c.begins), "%s: %.100q", c.args, text)
		for _, want := range c.has {
			assert.Contains(t, text, want, c.args)
		}
	}
	text, _ := call("verify", kestrel, "--emit", "murphi", "--output", "valve_1", "--property", "2")
	assert.NotContains(t, text, "assert bad3", "only what was asked for is demanded")
}

// What can not be printed ends with 2 and says what to write instead.
func TestEmitRefuses(t *testing.T) {
	for _, c := range []struct{ args, says string }{
		{"--emit promela", "write --output with one of valve_1"},
		{"--emit c --output valve_1", "--emit c: no such language; write promela or murphi"},
		{"--emit promela --output rack_lamp", "write --channel with one of bond_1"},
		{"--emit promela --output valve_1 --channel bond_2", "write --channel with one of bond_1"},
		{"--emit promela --output valve_1 --vessel car_2", "valve_1 does not charge it; write one of car_1"},
		{"--emit promela --output rack_lamp --vessel car_1", "rack_lamp charges no vessel; leave --vessel out"},
		{"--emit promela --output valve_1 --property 8", "property 8 is not judged by the model of kind reset"},
		{"--emit promela --output valve_1 --vessel car_1 --property 7", "write some of 2 3 8"},
		{"--vessel car_1", "belongs to --emit"},
		{"--emit promela --joint --output valve_1", "write one of them"},
	} {
		text, code := call(append([]string{"verify", kestrel}, strings.Fields(c.args)...)...)
		assert.Equal(t, exitInput, code, c.args)
		assert.Contains(t, strings.Join(strings.Fields(text), " "), c.says, c.args)
	}
}
