package wiring

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

const demoSite = "../../../testdata/rig/bench_siding.yaml"

func demoText(t *testing.T) string {
	text, err := os.ReadFile(demoSite)
	require.NoError(t, err)
	return string(text)
}

// readText reads a changed demo site beside a copy of its calibration.
func readText(t *testing.T, text string) (*Map, site.Problems) {
	folder := t.TempDir()
	calibration, err := os.ReadFile("../../../testdata/rig/decade_QR-D-11.yaml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "decade_QR-D-11.yaml"), calibration, 0o600))
	file := filepath.Join(folder, "site.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	s, problems := site.Read(file)
	require.Nil(t, problems)
	return Read(s)
}

// said joins what problems say, without places and line breaks.
func said(problems site.Problems) string {
	text := ""
	for _, p := range problems {
		text += p.Text + "; " + p.Instead + "\n"
	}
	return text
}

func demoMap(t *testing.T) *Map {
	m, problems := readText(t, demoText(t))
	require.Nil(t, problems)
	return m
}

func TestDemoMap(t *testing.T) {
	m := demoMap(t)
	require.Equal(t, []int{8, 6, 0}, m.Sizes())
	require.Len(t, m.Loops, 5)
	require.Equal(t, 2, m.Channels[0].Decade)
	require.Equal(t, Terminal{0, 6}, *m.Supply)
	require.Equal(t, "relay 3 of relays", m.TerminalName(Terminal{0, 3}))
	require.Len(t, m.Relays(), 8)
}

func TestMapsThatCannotBe(t *testing.T) {
	text := demoText(t)
	for _, c := range []struct{ from, to, problem string }{
		{"{name: valve_1, module: contacts, point: 0, use: reads}", "{name: valve_1, module: relays, point: 0, use: reads}", `"relays" is of kind relays, and "valve_1" as reads needs inputs`},
		{"{name: valve_1, module: contacts, point: 0, use: reads}", "{name: valve_1, module: relays, point: 0, use: short}", `output "valve_1" cannot be wired as short`},
		{"address: 2, turnaround", "address: 1, turnaround", `"relays" has address 1 on this port already`},
		{"kind: inputs, address: 2", "kind: inputs", "a module on a bus needs an address"},
		{", time_out: 1 s", "", "nothing lets these relays fall when the program goes silent"},
		{"set: \"RES {ohms}\", ", "", "SCPI agrees on none"},
		{"RES {ohms}", "RES 5", "has no {ohms}"},
		{"commands: {start", "commands: {strat: x, start", `unknown command "strat"`},
		{"point: 6, boot", "point: 2, boot", `this relay drives "reset_1" already`},
		{"port: decade_line", "port: bus", "on this port too"},
		{"{name: ack_1, module: relays, point: 3, use: drives}", "{name: ack_1, module: relays, point: 3, use: drives, resistor: 3 Ω}", "only a relay that drives or bridges a channel switches a resistor"},
		{"{name: reset_1, module: contacts, point: 3, use: loopback}", "{name: reset_1, module: contacts, point: 2000, use: loopback}", "one question reaches 2000"},
		{"use: bridge, resistor: 0.3 Ω", "use: bridge", "a bridge holds a resistor across the terminals, and none is named"},
		{"{name: bond_1, module: decade, point: 0, use: drives}", "{name: bond_1, module: relays, point: 9, use: drives}", "no resistor is named"},
		{"{name: ack_1, module: relays, point: 3, use: drives}\n", "{name: ack_1, module: relays, point: 3, use: drives}\n    - {name: ack_1, module: relays, point: 9, use: drives}\n", `"ack_1" as drives is wired to relay 3 of relays already`},
		{"    - {name: ack_1, module: relays, point: 3, use: drives}\n", "", `no relay drives "ack_1", so nothing loops back`},
		{"calibration: decade_QR-D-11.yaml", "calibration: nowhere.yaml", "nowhere.yaml"},
		{"calibration_due: 2027-03-31", "calibration_due: 2027-04-31", `"2027-04-31" is not a date`},
		{"calibration_due: 2027-03-31", "calibration_due: 2028-03-31", "due on 2028-03-31 here and on 2027-03-31 in"},
		{"serial: QR-D-11", "serial: QR-D-12", "has serial QR-D-12 here and QR-D-11 in"},
	} {
		require.Equal(t, 1, strings.Count(text, c.from), c.from)
		_, problems := readText(t, strings.Replace(text, c.from, c.to, 1))
		require.NotEmpty(t, problems, c.to)
		require.Contains(t, said(problems), c.problem)
		require.Positive(t, problems[0].Line)
	}
	s, problems := site.Read("../../../testdata/sites/kestrel_siding.yaml")
	require.Nil(t, problems)
	_, problems = Read(s)
	require.Contains(t, said(problems), "no rig map")
}

// TestBusLoad adds up by hand what one cycle takes at 19200 8E1: frames at eleven bits, turnaround, t3.5 (2.005 ms).
func TestBusLoad(t *testing.T) {
	slow := strings.Replace(demoText(t), "bus: {device: /dev/serial/by-id/bench-bus, baud: 115200", "bus: {device: /dev/serial/by-id/bench-bus, baud: 19200", 1)
	m, problems := readText(t, slow)
	require.Nil(t, problems)
	load := m.Load()
	require.Len(t, load.Exchanges, 3)
	character := 11.0 / 19200
	// Write 7 relays: 10 + 8 bytes; read them back: 8 + 6; read 6 inputs: 8 + 6.
	wanted := (10+8+8+6+8+6)*character + 3*0.002 + 3*0.00200521
	require.InDelta(t, wanted, load.Cycle.Seconds(), 1e-5)
	problems = m.CheckLoad(Stimulate)
	require.Contains(t, said(problems), "the poll is 20ms, and one cycle of the rig's bus takes 38.37ms")
	require.Contains(t, said(problems), "write poll: 39 ms or more")
	require.Contains(t, said(m.CheckLoad(StandIn)), "the scan is 20ms")
	require.Nil(t, demoMap(t).CheckLoad(StandIn))
}

func TestCalibration(t *testing.T) {
	c := demoMap(t).Cal
	actual, uncertainty, ok := c.Actual(9_500_000)
	require.True(t, ok)
	require.Equal(t, monitor.Microohm(9_520_000), actual)
	require.Equal(t, monitor.Microohm(130_000), uncertainty, "30 mΩ of the certificate, 100 mΩ of contacts")
	actual, _, ok = c.Actual(11_250_000) // half-way from +20 mΩ to +30 mΩ
	require.True(t, ok)
	require.Equal(t, monitor.Microohm(11_275_000), actual)
	_, _, ok = c.Actual(200_000_000)
	require.False(t, ok)
	today := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	for _, one := range []struct {
		set     monitor.Microohm
		limit   monitor.Microohm
		today   time.Time
		problem string
	}{
		{10_500_000, 10_000_000, today, ""},
		{9_500_000, 9_000_000, today, ""},
		{10_050_000, 10_000_000, today, "a margin of 70 mΩ, and its uncertainty is 130 mΩ"},
		{9_985_000, 10_000_000, today, "on the other side"},
		{9_800_000, 10_000_000, today, ""},
		{110_000_000, 109_000_000, today, "outside the calibrated points"},
		{10_500_000, 10_000_000, today.AddDate(1, 0, 0), "was due on 2027-03-31"},
	} {
		wrong := c.CheckLimit(LimitTest{"bond_1", one.set, one.limit, "reject"}, one.today)
		if one.problem == "" {
			require.Empty(t, wrong)
		} else {
			require.Contains(t, wrong, one.problem)
		}
	}
	require.Contains(t, (*Calibration)(nil).CheckLimit(LimitTest{"bond_1", 10_500_000, 10_000_000, "reject"}, today), "no calibration file")
}

// TestOverdue: the day itself still counts; what the map and the file say of one instrument is said once.
func TestOverdue(t *testing.T) {
	m, problems := readText(t, strings.Replace(demoText(t), "serial: QR-R-07", "serial: QR-R-07, calibration_due: 2025-03-31", 1))
	require.Empty(t, problems)
	day := func(year, month, day int) time.Time {
		return time.Date(year, time.Month(month), day, 12, 0, 0, 0, time.UTC)
	}
	relays, decade := "the calibration of relays was due on 2025-03-31", "the calibration of decade was due on 2027-03-31"
	require.Empty(t, m.Overdue(day(2025, 3, 31)))
	require.Equal(t, []string{relays}, m.Overdue(day(2025, 4, 2)))
	require.Equal(t, []string{relays, decade}, m.Overdue(day(2027, 4, 2)))
	m, problems = readText(t, strings.Replace(demoText(t), "      calibration_due: 2027-03-31\n", "", 1))
	require.Empty(t, problems)
	require.Equal(t, []string{decade}, m.Overdue(day(2027, 4, 2)), "from the calibration file")
}

func TestBrokenCalibrationFiles(t *testing.T) {
	good := "instrument: d\ndate: 2026-01-01\ndue: 2027-01-01\npoints: [{set: 1 Ω, actual: 1 Ω, uncertainty: 10 mΩ}]\n"
	for _, c := range []struct{ from, to, problem string }{
		{"2026-01-01", "1 May", "is no date"}, {"set: 1 Ω", "set: 1", "1"}, {"uncertainty: 10 mΩ", "sure: yes", "unknown key"},
		{"instrument: d", "instrumnet: d", "write instrument"}, {"due: 2027-01-01\n", "", `the key "due" is missing`},
		{"points: [{set: 1 Ω, actual: 1 Ω, uncertainty: 10 mΩ}]", "points: 3", "points is a list"}, {good, "- a\n", "is a mapping"},
		{"date: 2026-01-01", "date: 2026-13-41", "is no date"},
	} {
		file := filepath.Join(t.TempDir(), "c.yaml")
		require.NoError(t, os.WriteFile(file, []byte(strings.Replace(good, c.from, c.to, 1)), 0o600))
		_, problems := ReadCalibration(file)
		require.Contains(t, said(problems), c.problem)
	}
}

func TestRegisters(t *testing.T) {
	c := &site.Channel{Stamped: true}
	for _, r := range []monitor.Reading{
		{Quality: monitor.OverRange, Stamp: 7}, {Quality: monitor.Bad, Stamp: 8}, {Quality: monitor.Valid, Value: 9_600_000, Stamp: 9},
		{Quality: monitor.Valid, Value: 0}, {Quality: monitor.Valid, Value: 4_000_000_000_000, Stamp: 65535},
	} {
		require.Equal(t, r, FromRegisters(c, 1000, ToRegisters(c, 1000, r)))
	}
	require.Equal(t, monitor.OverRange, FromRegisters(c, 1000, ToRegisters(c, 1000, monitor.Reading{Quality: monitor.Valid, Value: math.MaxInt64 - 1000})).Quality)
	require.Equal(t, monitor.Bad, FromRegisters(c, 1000, ToRegisters(c, 1000, monitor.Reading{Quality: monitor.Valid, Value: -1})).Quality)
	require.Equal(t, monitor.Microohm(2000), FromRegisters(c, 1000, ToRegisters(c, 1000, monitor.Reading{Quality: monitor.Valid, Value: 1001})).Value, "rounded away from a good bond")
	require.Equal(t, monitor.Absent, FromRegisters(c, 1000, []uint16{0, 1}).Quality)
}
