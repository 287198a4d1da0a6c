package joint

import (
	"fmt"
	"math/big"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify"
	"ohmgate/monitor"
)

// yard is one output over n small channels that differ a little.
func yard(t testing.TB, n int, text string, change func(*interlock.Config)) *verify.Model {
	t.Helper()
	c := &interlock.Config{PollScans: 1, Inputs: make([]interlock.Input, 6)}
	m := &verify.Model{Site: "yard", Config: c, PeriodMin: time.Millisecond, PeriodMax: time.Millisecond, Names: verify.Names{Inputs: []string{"reset", "closed", "opened", "start", "stop", "here"}, Outputs: []string{"valve"}}}
	for i := range n {
		c.Channels = append(c.Channels, interlock.Channel{Config: monitor.Config{Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
			StaleAfter: 1, SettleScans: 3, SettleReadings: 3, SettlePause: monitor.Scans(i & 1),
			Full: 2, Cost: [monitor.Classes]monitor.Parts{1, 1, 2, 1, 0, 0}, Repay: monitor.Parts(1 + i&1), LongestStay: 3}})
		m.Names.Channels = append(m.Names.Channels, fmt.Sprintf("bond_%d", i+1))
	}
	p, err := interlock.ParsePermissive(text, func(name string) (int, bool) {
		for i, have := range append(append([]string(nil), m.Names.Channels...), m.Names.Inputs...) {
			if have == name {
				return i, true
			}
		}
		return 0, false
	})
	require.NoError(t, err)
	c.Outputs = []interlock.Output{{Permissive: p, OnDelay: 1, Reset: 1, Press: interlock.Press{Min: 1, Max: 2}, Closed: 2, Travel: 1}}
	if change != nil {
		change(c)
	}
	require.NoError(t, c.Compile())
	return m
}

// explicit walks the product of all parts state by state, the slow way.
type explicit struct {
	joint  *verify.Joint
	news   [][][]uint32 // channel, state: where it can go
	output map[uint64][3][]uint64
	perms  map[string][3]bool
}

func run(t testing.TB, m *verify.Model, o verify.Options, memory uint64) (*Engine, *verify.Joint) {
	t.Helper()
	j, err := verify.JointOf(m, o, 0)
	require.NoError(t, err)
	e, err := New(j, memory)
	require.NoError(t, err)
	require.NoError(t, e.Run(nil))
	return e, j
}

// With one channel the joint search is the explicit one: same states, same
// scans, same verdicts.
func TestOneChannelAgreesWithTheExplicitSearch(t *testing.T) {
	for name, change := range map[string]func(*interlock.Config){
		"plain": nil,
		"evidence and bypass": func(c *interlock.Config) {
			c.Channels[0].Evidence = 6
			c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 1, CoversLost: true}}
		},
		"stop, both switches": func(c *interlock.Config) { c.Outputs[0].Stop, c.Outputs[0].Opened = 5, 3 },
	} {
		t.Run(name, func(t *testing.T) {
			for _, text := range []string{"bond_1", "bond_1 OR here", "NOT bond_1", "bond_1 XOR here"} {
				m := yard(t, 1, text, change)
				e, _ := run(t, m, verify.Options{}, 1<<30)
				pieces, err := verify.Pieces(m, verify.Options{})
				require.NoError(t, err)
				p, err := pieces[0].Search()
				require.NoError(t, err)
				assert.Equal(t, fmt.Sprint(p.States()), e.States().String(), text)
				assert.Equal(t, p.Levels, e.Scans, text)
				for _, n := range judged {
					verdict, err := e.Verdict(n)
					require.NoError(t, err)
					assert.Equal(t, p.VerdictOf(n), verdict, "%s: property %d", text, n)
				}
				t.Logf("%s: %s states, %d scans", text, e.States(), e.Scans)
			}
		})
	}
}

var _ = big.NewInt
