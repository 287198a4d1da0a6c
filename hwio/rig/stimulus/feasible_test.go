package stimulus

import (
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

// placeOf is a place from its text and what it is.
func placeOf(kind, name, from, text, why string, needs ...string) Place {
	return Place{Kind: kind, Name: name, From: from, Text: name + ": " + text, Why: why, Needs: needs}
}

func TestWhatABenchCannotShow(t *testing.T) {
	text := demoText(t)
	shorted := strings.Replace(text, "use: bridge, resistor: 0.3 Ω", "use: short", 1)
	unread := strings.Replace(text, "    - {name: valve_1, module: contacts, point: 0, use: reads}\n", "", 1)
	noReset := strings.NewReplacer("    - {name: reset_1, module: relays, point: 2, use: drives}\n", "", "    - {name: reset_1, module: contacts, point: 3, use: loopback}\n", "").Replace(text)
	for _, c := range []struct {
		site, because string // empty: it can
		place         Place
	}{
		{text, "", placeOf("channel", "bond_1", "bonded", "bonded -> lost (open)", "open")},
		{text, "", placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (high)", "high")},
		{text, "", placeOf("channel", "bond_1", "bonded", "bonded -> bonded (between)", "between")},
		{text, "cannot show readings that are missing", placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (missing)", "missing")},
		{text, "cannot show readings that are invalid", placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (invalid)", "invalid")},
		{text, "only missing or invalid readings lead there", placeOf("channel", "bond_1", "unreadable", "unreadable -> unconnected (good)", "good")},
		{shorted, "", placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (invalid)", "invalid")},
		{shorted, "", placeOf("channel", "bond_1", "unreadable", "unreadable -> unconnected (good)", "good")},
		{shorted, "cannot show readings that are missing", placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (missing)", "missing")},
		{text, "", placeOf("output", "valve_1", "enabled", "enabled -> tripped (permissive lost: bond_1)", "permissive lost: bond_1", "bond_1")},
		{text, "never becomes unreadable", placeOf("output", "valve_1", "enabled", "enabled -> tripped (permissive unknown: bond_1)", "permissive unknown: bond_1", "bond_1")},
		{shorted, "", placeOf("output", "valve_1", "enabled", "enabled -> tripped (permissive unknown: bond_1)", "permissive unknown: bond_1", "bond_1")},
		{text, "inside the unit", placeOf("output", "valve_1", "enabled", "enabled -> tripped (scan overrun)", "scan overrun")},
		{unread, "no input reads valve_1", placeOf("output", "valve_1", "kept out", "kept out -> enabled (reset)", "reset")},
		{text, "", placeOf("output", "valve_1", "kept out", "kept out -> enabled (reset)", "reset")},
		{noReset, "no relay drives reset_1", placeOf("output", "valve_1", "kept out", "kept out -> enabled (reset)", "reset")},
		{noReset, "no relay drives reset_1", placeOf("reset", "valve_1", "", "reset refused (held for too long)", "held for too long")},
		{text, "never unknown", placeOf("reset", "valve_1", "", "reset refused (the input went unknown during the press)", "the input went unknown during the press")},
		{text, "", placeOf("actuator", "valve_1", "", "actuator unconfirmed (stayed open)", "stayed open")},
		{text, "never unknown", placeOf("actuator", "valve_1", "", "actuator unconfirmed (unknown when withheld)", "unknown when withheld")},
		{text, "", placeOf("vessel", "car_1", "", "wait over", "")},
		{text, "never unknown", placeOf("vessel", "car_1", "", "acknowledge ignored (the input went unknown during the press)", "the input went unknown during the press")},
	} {
		m, problems := readText(t, c.site)
		require.Nil(t, problems)
		logic, problems := m.Site.Logic()
		require.Nil(t, problems)
		said := Cannot(m, logic, c.place)
		if c.because == "" {
			require.Empty(t, said, c.place.Text)
		} else {
			require.Contains(t, said, c.because, c.place.Text)
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

func TestCoverageSortsPlaces(t *testing.T) {
	m, problems := readText(t, demoText(t))
	require.Nil(t, problems)
	logic, problems := m.Site.Logic()
	require.Nil(t, problems)
	open, high := placeOf("channel", "bond_1", "bonded", "bonded -> lost (open)", "open"), placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (high)", "high")
	missing := placeOf("channel", "bond_1", "bonded", "bonded -> doubtful (missing)", "missing")
	played, refused := Place{Kind: "fault", Name: "bond_1", Text: "clamp_removed on bond_1"}, Place{Kind: "fault", Name: "bond_1", Text: "bad_quality on bond_1"}
	made := Covered(m, logic, []Place{open, high, missing, played, refused}, map[string]bool{open.Text: true, missing.Text: true, played.Text: true}, func(p Place) string {
		require.Equal(t, refused, p, "what was played was not refused")
		return "no"
	})
	require.Equal(t, []Place{open, played}, made.Seen)
	require.Equal(t, []Place{high}, made.Gaps)
	require.Len(t, made.Cannot, 2, "whatever a record says, missing readings were not shown")
	require.Equal(t, []Share{{"channel", 1, 1, 1}, {"fault", 1, 0, 1}}, made.Shares)
}
