package stimulus

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

const demoSite = "../../../testdata/rig/bench_siding.yaml"

func demoText(t *testing.T) string {
	text, err := os.ReadFile(demoSite)
	require.NoError(t, err)
	return string(text)
}

// readText reads a changed demo site in the place of the demo site.
func readText(t *testing.T, text string) (*wiring.Map, site.Problems) {
	s, problems := site.Parse(demoSite, []byte(text))
	require.Nil(t, problems)
	return wiring.Read(s)
}

func demoMap(t *testing.T) *wiring.Map {
	m, problems := readText(t, demoText(t))
	require.Nil(t, problems)
	return m
}

// channelGoal is a change of phase of bond_1 under a class.
func channelGoal(from monitor.Phase, class monitor.Class) Goal {
	return Goal{Kind: Channel, Name: "bond_1", Text: fmt.Sprintf("bond_1: %s (%s)", from, class), From: from, Class: class}
}

// goal is one that some inputs or channels must move for.
func goal(kind Kind, name string, unknown bool, moves ...string) Goal {
	return Goal{Kind: kind, Name: name, Text: fmt.Sprint(name, kind, moves, unknown), Unknown: unknown, Moves: moves}
}

func TestWhatABenchCannotShow(t *testing.T) {
	text := demoText(t)
	shorted := strings.Replace(text, "use: bridge, resistor: 0.3 Ω", "use: short", 1)
	unread := strings.Replace(text, "    - {name: valve_1, module: contacts, point: 0, use: reads}\n", "", 1)
	noReset := strings.NewReplacer("    - {name: reset_1, module: relays, point: 2, use: drives}\n", "", "    - {name: reset_1, module: contacts, point: 3, use: loopback}\n", "").Replace(text)
	lost, unknown := goal(Output, "valve_1", false, "bond_1"), goal(Output, "valve_1", true, "bond_1")
	reset := goal(Output, "valve_1", false, "reset_1")
	for _, c := range []struct {
		site, because string // empty: it can
		goal          Goal
	}{
		{text, "", channelGoal(monitor.Bonded, monitor.Open)},
		{text, "", channelGoal(monitor.Bonded, monitor.High)},
		{text, "", channelGoal(monitor.Bonded, monitor.Between)},
		{text, "cannot show readings that are missing", channelGoal(monitor.Bonded, monitor.Missing)},
		{text, "cannot show readings that are invalid", channelGoal(monitor.Bonded, monitor.Invalid)},
		{text, "only missing or invalid readings lead there", channelGoal(monitor.Unreadable, monitor.Good)},
		{shorted, "", channelGoal(monitor.Bonded, monitor.Invalid)},
		{shorted, "", channelGoal(monitor.Unreadable, monitor.Good)},
		{shorted, "cannot show readings that are missing", channelGoal(monitor.Bonded, monitor.Missing)},
		{text, "", lost},
		{text, "never becomes unreadable", unknown},
		{shorted, "", unknown},
		{text, "inside the unit", Goal{Kind: Output, Name: "valve_1", Inside: true}},
		{unread, "no input reads valve_1", reset},
		{text, "", reset},
		{noReset, "no relay drives reset_1", reset},
		{noReset, "no relay drives reset_1", goal(Reset, "valve_1", false, "reset_1")},
		{text, "never unknown", goal(Reset, "valve_1", true, "reset_1")},
		{text, "", goal(Actuator, "valve_1", false, "valve_1_closed")},
		{text, "never unknown", goal(Actuator, "valve_1", true, "valve_1_closed")},
		{text, "", goal(Vessel, "car_1", false)},
		{text, "never unknown", goal(Vessel, "car_1", true, "ack_1")},
		{text, "not known what brings it about", Goal{Name: "valve_1"}},
	} {
		m, problems := readText(t, c.site)
		require.Nil(t, problems)
		logic, problems := m.Site.Logic()
		require.Nil(t, problems)
		said := Cannot(m, logic, c.goal)
		if c.because == "" {
			require.Empty(t, said, c.goal.Text)
		} else {
			require.Contains(t, said, c.because, c.goal.Text)
		}
	}
}

// A resistance that is asked for by its class reads as that class.
func TestValuesOfClasses(t *testing.T) {
	m, problems := readText(t, demoText(t))
	require.Nil(t, problems)
	logic, problems := m.Site.Logic()
	require.Nil(t, problems)
	c := &logic.Channels[0].Config
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		value, ok := ValueOf(m, 0, c, class)
		wanted := class == monitor.Good || class == monitor.Between || class == monitor.High
		require.Equal(t, wanted, ok, class)
		if ok {
			require.Equal(t, class, ClassOf(c, value), value)
		}
	}
}

func TestCoverageSortsGoals(t *testing.T) {
	m, problems := readText(t, demoText(t))
	require.Nil(t, problems)
	logic, problems := m.Site.Logic()
	require.Nil(t, problems)
	open, high, missing := channelGoal(monitor.Bonded, monitor.Open), channelGoal(monitor.Bonded, monitor.High), channelGoal(monitor.Bonded, monitor.Missing)
	played, refused := Goal{Kind: Fault, Name: "bond_1", Text: "clamp_removed on bond_1", Fault: "clamp_removed"}, Goal{Kind: Fault, Name: "bond_1", Text: "bad_quality on bond_1", Fault: "bad_quality"}
	made := Covered(m, logic, []Goal{open, high, missing, played, refused}, map[string]bool{open.Text: true, missing.Text: true, played.Text: true}, func(p Goal) string {
		require.Equal(t, refused, p, "what was played was not refused")
		return "no"
	})
	require.Equal(t, []Goal{open, played}, made.Seen)
	require.Equal(t, []Goal{high}, made.Gaps)
	require.Len(t, made.Cannot, 2, "whatever a record says, missing readings were not shown")
	require.Equal(t, []Share{{Channel, 1, 1, 1}, {Fault, 1, 0, 1}}, made.Shares)
}
