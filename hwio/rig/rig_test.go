package rig

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ohmgate/hwio/port"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

const demoSite = "../../testdata/rig/bench_siding.yaml"

func demoText(t *testing.T) string {
	text, err := os.ReadFile(demoSite)
	require.NoError(t, err)
	return string(text)
}

// readText reads a changed demo site beside a copy of its calibration.
func readText(t *testing.T, text string) (*Map, site.Problems) {
	folder := t.TempDir()
	calibration, err := os.ReadFile("../../testdata/rig/decade_QR-D-11.yaml")
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
	require.Equal(t, []int{8, 6, 0}, m.sizes())
	require.Len(t, m.Loops, 5)
	require.Equal(t, 2, m.Channels[0].Decade)
	require.Equal(t, Terminal{0, 6}, *m.Supply)
	require.Equal(t, "relay 3 of relays", m.TerminalName(Terminal{0, 3}))
	require.Len(t, m.relays(), 8)
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
	s, problems := site.Read("../../testdata/sites/kestrel_siding.yaml")
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
		wrong := c.checkLimit(limitTest{"bond_1", one.set, one.limit, "reject"}, one.today)
		if one.problem == "" {
			require.Empty(t, wrong)
		} else {
			require.Contains(t, wrong, one.problem)
		}
	}
	require.Contains(t, (*Calibration)(nil).checkLimit(limitTest{"bond_1", 10_500_000, 10_000_000, "reject"}, today), "no calibration file")
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

func TestJudge(t *testing.T) {
	span := func(least, most float64) Span { return Span{fromMillis(least), fromMillis(most)} }
	bound := Bound{Span: span(40, 100)}
	for _, c := range []struct {
		measured Span
		verdict  string
	}{
		{span(50, 90), sheet.Consistent}, {span(40, 100), sheet.Consistent}, {span(30, 90), sheet.Consistent},
		{span(90, 101), sheet.CannotTell}, {span(10, 300), sheet.CannotTell}, {span(100, 101), sheet.CannotTell},
		{span(101, 130), sheet.Violated}, {span(5, 39), sheet.Violated},
	} {
		verdict, text := Judge(c.measured, bound)
		require.Equal(t, c.verdict, verdict, text)
		require.NotEmpty(t, text)
	}
}

// TestPrintedTimesClaimNoMore: what is printed of a measurement holds what was measured; a bound is printed as it is.
func TestPrintedTimesClaimNoMore(t *testing.T) {
	span := func(least, most float64) *sheet.Millis { return Span{fromMillis(least), fromMillis(most)}.Millis() }
	require.Equal(t, "7..29 ms", span(7.566, 28.001).String())
	require.Equal(t, "8..28 ms", span(8, 28).String())
	require.Equal(t, "124.7..125 ms", span(124.7, 125).Exact())
	require.Contains(t, Statement("x", 3, fromMillis(28.001), 0.05), "none was seen slower than 29 ms")
	require.Contains(t, Statement("x", 3, fromMillis(28), 0.05), "none was seen slower than 28 ms")
	_, text := Judge(Span{fromMillis(124.8), fromMillis(130)}, Bound{Span: Span{0, fromMillis(124.7)}})
	require.Equal(t, "slower than 124.7 ms", text)
	rapid.Check(t, func(t *rapid.T) {
		least := rapid.Int64Range(0, 1e10).Draw(t, "least")
		most := least + rapid.Int64Range(0, 1e9).Draw(t, "took")
		var from, to int64
		_, err := fmt.Sscanf(Span{time.Duration(least), time.Duration(most)}.Millis().String(), "%d..%d ms", &from, &to)
		require.NoError(t, err)
		require.True(t, from*1e6 <= least && least < (from+1)*1e6, "%d..%d of %d..%d", from, to, least, most)
		require.True(t, to*1e6 >= most && most > (to-1)*1e6, "%d..%d of %d..%d", from, to, least, most)
	})
}

// TestIntervalsHoldTheTruth: whatever the true times were, if both intervals hold them then the span holds their difference,
// and a verdict against a bound is never wrong about the truth.
func TestIntervalsHoldTheTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		small := rapid.Int64Range(0, 50_000_000)
		begin := rapid.Int64Range(0, 1e12).Draw(t, "begin")
		took := rapid.Int64Range(0, 1e9).Draw(t, "took")
		stimulus := Interval{port.Stamp(begin - small.Draw(t, "a")), port.Stamp(begin + small.Draw(t, "b"))}
		response := Interval{port.Stamp(begin + took - small.Draw(t, "c")), port.Stamp(begin + took + small.Draw(t, "d"))}
		span := Took(stimulus, response, time.Duration(small.Draw(t, "spread")))
		truth := time.Duration(took)
		if truth < span.Least || truth > span.Most {
			t.Fatalf("%v is not in %v", truth, span)
		}
		bound := Bound{Span: Span{time.Duration(small.Draw(t, "least")), time.Duration(rapid.Int64Range(5e7, 1e9).Draw(t, "most"))}}
		verdict, _ := Judge(span, bound)
		inside := truth >= bound.Least && truth <= bound.Most
		if verdict == sheet.Violated && inside || verdict == sheet.Consistent && truth > bound.Most {
			t.Fatalf("%v, bound %v: %s", truth, bound, verdict)
		}
	})
}

// TestSlowerFraction: reference interlock-standards.md section 13, success run table: 59 runs at 95 % show 95 %, 299 show 99 %,
// 22 at 90 % show 90 %; and IEC 61508-7 D.2.1: about 3/n at 95 %.
func TestSlowerFraction(t *testing.T) {
	for _, c := range []struct {
		runs     int
		alpha    float64
		fraction float64
	}{{59, 0.05, 0.05}, {299, 0.05, 0.01}, {22, 0.10, 0.10}, {459, 0.01, 0.01}, {2995, 0.05, 0.001}} {
		require.LessOrEqual(t, SlowerFraction(c.runs, c.alpha), c.fraction)
		require.Greater(t, SlowerFraction(c.runs-1, c.alpha), c.fraction)
	}
	require.InDelta(t, 3.0/30_000, SlowerFraction(30_000, 0.05), 1e-6)
	text := Statement("valve_1", 59, 40*time.Millisecond, 0.05)
	require.Contains(t, text, "The worst case was not measured")
	require.Contains(t, text, "with 95 % confidence fewer than 4.95 %")
	require.Empty(t, Statement("x", 0, 0, 0.05))
}

// TestPhasesAreSpread: however many runs, no gap between neighbouring phases is larger than three times the even share.
func TestPhasesAreSpread(t *testing.T) {
	for _, runs := range []int{2, 5, 20, 100} {
		taken := make([]bool, runs)
		for run := range runs {
			share := float64(Phase(run, time.Second)) / float64(time.Second)
			require.True(t, share >= 0 && share < 1)
			taken[int(share*float64(runs))] = true
		}
		empty := 0
		for _, one := range taken {
			if !one {
				empty++
			}
		}
		require.LessOrEqual(t, empty, runs/3)
	}
}

func TestSpreadIsWhatIntervalsDoNotExplain(t *testing.T) {
	var edges []Span
	for range 99 {
		edges = append(edges, Span{2 * time.Millisecond, 6 * time.Millisecond})
	}
	require.Zero(t, spreadOf(edges))
	// Held up while waiting: the interval is wider by as much as it is later.
	held := append(edges[:99:99], Span{2 * time.Millisecond, 60 * time.Millisecond})
	require.Zero(t, spreadOf(held))
	// Late without being wide: that is the rig's own scatter.
	late := append(edges[:99:99], Span{12 * time.Millisecond, 16 * time.Millisecond})
	require.Equal(t, 10*time.Millisecond, spreadOf(late))
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

func TestPlayReading(t *testing.T) {
	m := demoMap(t)
	logic, problems := m.Site.Logic()
	require.Nil(t, problems)
	c := &logic.Channels[0].Config
	valid := func(v monitor.Microohm) monitor.Reading { return monitor.Reading{Quality: monitor.Valid, Value: v} }
	good := Play{Value: 300_000}
	for _, one := range []struct {
		now     Play
		reading monitor.Reading
		next    Play
		keep    bool
		why     string
	}{
		{good, monitor.Reading{}, good, true, ""},
		{good, monitor.Reading{Quality: monitor.OverRange}, Play{Broken: true}, false, ""},
		{good, valid(2_000_000_000), Play{Broken: true}, false, ""},
		{good, monitor.Reading{Quality: monitor.Bad}, good, true, "bad quality"},
		{good, valid(-1), good, true, "negative"},
		{good, valid(310_000), good, true, ""},
		{good, valid(9_500_000), Play{Value: 9_500_000}, false, ""},
		{Play{Broken: true}, valid(195_001), Play{Value: 196_000}, false, ""},
		{Play{Value: 9_999_000}, valid(10_000_001), Play{Value: 10_001_000}, false, ""},
	} {
		next, keep, why := m.playReading(0, c, one.reading, one.now)
		require.Equal(t, one.next, next)
		require.Equal(t, one.keep, keep)
		require.Contains(t, why, one.why)
	}
	resistors := []Resistor{{Terminal{0, 1}, 300_000}, {Terminal{0, 2}, 9_500_000}}
	value, ok := nearestResistor(resistors, c, 8_000_000)
	require.True(t, ok)
	require.Equal(t, monitor.Microohm(300_000), value, "the nearest of its own class, not the nearest of all")
	_, ok = nearestResistor(resistors, c, 12_000_000)
	require.False(t, ok)
}
