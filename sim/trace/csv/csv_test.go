package csv

import (
	"bytes"
	"errors"
	"io"
	"math/big"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/tracetest"
)

// What the writer wrote, the reader must read: every reading, signal, flag.
func TestOwnTableComesBack(t *testing.T) {
	const bays, scans = 2, 9000
	var file bytes.Buffer
	w := NewStream(&file)
	require.NoError(t, w.Begin(tracetest.Header(bays)))
	var want []interlock.Inputs
	keep := looking(func(r *trace.Row) {
		in := interlock.Inputs{Overrun: r.In.Overrun, Signals: append([]interlock.Signal(nil), r.In.Signals...)}
		for _, reading := range r.In.Readings {
			if reading.Quality == monitor.Absent {
				reading = monitor.Reading{}
			}
			if reading.Quality != monitor.Valid {
				reading.Value = 0
			}
			in.Readings = append(in.Readings, reading)
		}
		want = append(want, in)
	})
	require.NoError(t, tracetest.Run(bays, scans, trace.Group{w, keep}))
	require.NoError(t, w.Close())
	reader, err := NewReader(bytes.NewReader(file.Bytes()), tracetest.Header(bays), tracetest.Config(bays))
	require.NoError(t, err)
	require.Equal(t, "quarry_road", reader.Header.Site)
	require.Equal(t, "5ce0a1", reader.Header.ScenarioHash)
	require.Equal(t, tracetest.Period, reader.Header.Period)
	for k := range want {
		rec, err := reader.Next()
		require.NoError(t, err)
		require.NotNil(t, rec, k)
		require.EqualValues(t, k, rec.Scan)
		require.Equal(t, time.Duration(k)*tracetest.Period, rec.Time)
		require.Equal(t, want[k], *rec.In, k)
	}
	rec, err := reader.Next()
	require.NoError(t, err)
	require.Nil(t, rec)
	require.Empty(t, reader.Diary.Troubles)
}

type looking func(*trace.Row)

func (looking) Begin(*trace.Header) error  { return nil }
func (l looking) Write(r *trace.Row) error { l(r); return nil }
func (looking) Close() error               { return nil }

// The quick number reader agrees with exact rational arithmetic, and refuses
// what it cannot hold.
func TestNumbersAgainstExactArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?[0-9]{1,12}(\.[0-9]{0,6})?([eE][-+]?[0-9]{1,2})?`).Draw(t, "text")
		exact, ok := new(big.Rat).SetString(strings.TrimSuffix(strings.Replace(text, ".e", "e", 1), "."))
		if !ok {
			t.Skip("not a number of the reference")
		}
		n, ok := parseNumber([]byte(text), '.')
		if !ok {
			t.Fatalf("%q was refused", text)
		}
		got, fits := n.scaled(6)
		exact.Mul(exact, big.NewRat(1000000, 1))
		half := big.NewRat(1, 2)
		if exact.Sign() < 0 {
			half.Neg(half)
		}
		exact.Add(exact, half)
		want := new(big.Int).Quo(exact.Num(), exact.Denom()) // toward zero
		if want.IsInt64() != fits && fits {
			t.Fatalf("%q: %d was given, but %s does not fit", text, got, want)
		}
		if fits && want.Cmp(big.NewInt(got)) != 0 {
			t.Fatalf("%q: %d, exactly %s", text, got, want)
		}
		if quick, next, ok := fixed(append([]byte(text), ','), 0, ',', '.', 6); ok && (quick != got || next != len(text)) {
			t.Fatalf("%q: quick %d, slow %d", text, quick, got)
		}
	})
}

func TestOddNumbers(t *testing.T) {
	for text, want := range map[string]class{"NaN": notANumber, "nan": notANumber, "+INF": infinite, "Infinity": infinite, "-inf": negativeInfinite, "9.9E37": plain} {
		n, ok := parseNumber([]byte(text), '.')
		require.True(t, ok, text)
		require.Equal(t, want, n.class, text)
	}
	big, _ := parseNumber([]byte("9.9E37"), '.')
	_, fits := big.scaled(6)
	require.False(t, fits, "what a multimeter says when it overflows is no resistance")
	for _, text := range []string{"", "-", "1,5", "1.5.2", "0x10", "12 Ω", "1e", "--1", "1e999"} {
		_, ok := parseNumber([]byte(text), '.')
		require.False(t, ok, text)
	}
}

// The package time is the peer for every pattern and zone.
func TestTimesAgainstTheStandardLibrary(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	for _, zone := range []*time.Location{time.UTC, berlin} {
		c, err := compileClock("dd.MM.yyyy HH:mm:ss,fff", zone)
		require.NoError(t, err)
		begin := time.Date(2023, 1, 1, 0, 0, 0, 0, zone)
		for i := range 80000 {
			at := begin.Add(time.Duration(i) * 977 * time.Second).Add(time.Duration(i%1000) * time.Millisecond)
			got, err := c.read([]byte(at.Format("02.01.2006 15:04:05,000")), '.')
			require.NoError(t, err)
			require.Equal(t, at.UnixNano(), got, at)
		}
	}
}

// In the night of autumn an hour comes twice, in that of spring one is left out.
func TestDaylightSaving(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	c, err := compileClock("yyyy-MM-dd HH:mm:ss.fff", berlin)
	require.NoError(t, err)
	begin := time.Date(2024, 10, 26, 23, 30, 0, 0, time.UTC)
	last := int64(0)
	for i := range 40000 { // three hours around the change, at 270 ms
		at := begin.Add(time.Duration(i) * 270 * time.Millisecond)
		got, err := c.read([]byte(at.In(berlin).Format("2006-01-02 15:04:05.000")), '.')
		require.NoError(t, err)
		require.Equal(t, at.UnixNano(), got, at)
		require.Greater(t, got, last)
		last = got
	}
	_, err = c.read([]byte("2024-03-31 02:30:00.000"), '.')
	require.ErrorIs(t, err, errNoSuchTime)
	for _, text := range []string{"2024-13-01 00:00:00.000", "2024-03-30 02:61:00.000", "yesterday", "", "2024-03-30 02:10:00.000 "} {
		_, err = c.read([]byte(text), '.')
		require.True(t, errors.Is(err, errTime), text)
	}
}

const germanMap = `
separator: ";"
decimal: ","
header: 3
time: {column: [Datum, Zeit], format: "dd.MM.yyyy HH:mm:ss,fff", zone: Europe/Berlin, offset: -250 ms}
channels:
  bond_1: {column: "R1 [kOhm]", unit: kΩ, quality: St1}
inputs:
  reset_1: {column: T1, on: [EIN], off: [AUS]}
  ack_1: {always: 0}
  valve_1_closed: {column: ZU1, on: [EIN], off: [AUS]}
outputs:
  valve_1: {column: V1, on: [EIN], off: [AUS]}
status_words: {OL: over-range, "I/O": bad, "": missing, OK: good}
bad_values: [-9999]
begin: power-up
`

func germanReader(t *testing.T, table string) *Mapped {
	t.Helper()
	h, c := tracetest.Header(1), tracetest.Config(1)
	m, problems := ReadMapping("map.yaml", []byte(germanMap), h)
	require.Nil(t, problems)
	r, err := NewMapped(strings.NewReader(table), m, h, c)
	require.NoError(t, err)
	return r
}

// A table by hand with every ugliness at once: each is a missing reading or of
// bad quality, and each is counted with its line.
func TestUglyTable(t *testing.T) {
	head := "Schreiber 7\r\n\r\nDatum;Zeit;R1 [kOhm];St1;T1;ZU1;V1\r\n"
	rows := []string{
		"25.11.2024;08:00:00,000;0,0004;OK;AUS;EIN;AUS",        // 4: 0.4 Ω
		"25.11.2024;08:00:00,010;\"0,0005\";OK;AUS;EIN;AUS",    // 5: quoted
		"25.11.2024;08:00:00,020;NaN;OK;AUS;EIN;AUS",           // 6: bad
		"25.11.2024;08:00:00,030;zwölf;OK;AUS;EIN;AUS",         // 7: text: nothing read
		"25.11.2024;08:00:00,040;OL;OK;AUS;EIN;AUS",            // 8: over-range by word
		"25.11.2024;08:00:00,050;0,0004;I/O;AUS;EIN;AUS",       // 9: bad by status
		"25.11.2024;08:00:00,050;0,0006;OK;AUS;EIN;AUS",        // 10: same time: this one counts
		"25.11.2024;08:00:00,045;0,0007;OK;AUS;EIN;AUS",        // 11: back in time: not used
		"25.11.2024;08:00:00,060;-9999;OK;AUS;EIN;AUS",         // 12: bad value
		"25.11.2024;08:00:00,070;9,9E37;OK;AUS;EIN;AUS",        // 13: over-range by size
		"25.11.2024;08:00:00,080;;OK;EIN;EIN;AUS",              // 14: nothing
		"25.11.2024;08:00:00,090;0,0004;OK;VIELLEICHT;EIN;AUS", // 15: no word of this column
		"25.11.2024;08:00:00,100;0,0004",                       // 16: too few fields
		"25.11.2024;8 Uhr;0,0004;OK;AUS;EIN;AUS",               // 17: no time
		"25.11.2024;08:00:00,110;-0,0001;OK;AUS;EIN;EIN",       // 18: negative is a value; the logic calls it invalid
		"25.11.2024;08:00:00,111;0,0123456;OK;AUS;EIN;EIN",     // 19: one ms later: the next scan
		"25.11.2024;08:00:00,12",                               // 20: cut off
	}
	r := germanReader(t, head+strings.Join(rows, "\r\n"))
	var got []string
	for {
		rec, err := r.Next()
		require.NoError(t, err)
		if rec == nil {
			break
		}
		reading := rec.In.Readings[0]
		text := strconv.Itoa(int(rec.Scan)) + " "
		switch reading.Quality {
		case monitor.Valid:
			text += string(trace.AppendOhms(nil, reading.Value))
		case monitor.Bad:
			text += "bad"
		case monitor.OverRange:
			text += "over"
		}
		got = append(got, text+" "+strconv.Itoa(int(rec.In.Signals[0]))+strconv.Itoa(int(rec.In.Signals[1]))+" "+strconv.Itoa(int(rec.Outputs[0])))
	}
	off, on, low, high := strconv.Itoa(int(trace.Withheld)), strconv.Itoa(int(interlock.Enabled)), strconv.Itoa(int(interlock.Low)), strconv.Itoa(int(interlock.High))
	quiet := " " + low + low + " "
	require.Equal(t, []string{
		"0 0.4" + quiet + off, "1 0.5" + quiet + off, "2 bad" + quiet + off, "3 " + quiet + off, "4 over" + quiet + off,
		"5 0.6" + quiet + off, "6 bad" + quiet + off, "7 over" + quiet + off, "8  " + high + low + " " + off, "9 0.4 0" + low + " " + off,
		"10  0" + low + " " + off, "11 -0.1" + quiet + on, "12 12.3456" + quiet + on,
	}, got)
	require.Equal(t, time.Date(2024, 11, 25, 6, 59, 59, 750e6, time.UTC), r.Start)
	for _, c := range []struct {
		kind  *trace.Kind
		count int
		line  int
	}{
		{&kindNaN, 2, 6}, {&kindNotNumber, 1, 7}, {&kindSameTime, 1, 10}, {&kindOrder, 1, 11}, {&kindHidden, 1, 10},
		{&kindWord, 1, 15}, {&kindFields, 1, 16}, {&kindTime, 1, 17}, {&kindCutLine, 1, 20}, {&kindAlways, 1, 0}, {&kindUnstamped, 1, 0},
	} {
		require.Equal(t, c.count, r.Diary.Count(c.kind), c.kind.Text)
		for _, trouble := range r.Diary.Troubles {
			if trouble.Kind == c.kind.Text {
				require.Equal(t, c.line, trouble.First[0].Line, c.kind.Text)
			}
		}
	}
	require.Len(t, r.Diary.Troubles, 11)
	require.True(t, r.Diary.Undecided())
}

// Each mistake in a map is one problem with its place and what to write instead.
func TestBrokenMaps(t *testing.T) {
	h := tracetest.Header(1)
	for _, c := range []struct{ text, says string }{
		{" \n# nothing\n", "channels"},
		{"tyme: {column: a, format: seconds}", "did you mean time"},
		{"time: {column: a, format: seconds}", "no channel is mapped"},
		{"channels: {bond_1: {column: a}}", "format of the time"},
		{"time: {column: a, format: seconds}\nchannels: {bond_2: {column: a}}", "did you mean bond_1"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a, unit: V}}", "unit of resistance"},
		{"time: {column: a, format: HH:mm}\nchannels: {bond_1: {column: a}}", "has no 'y'"},
		{"time: {column: a, format: seconds, zone: Atlantis}\nchannels: {bond_1: {column: a}}", "no time zone"},
		{"time: {column: a, format: seconds, offset: 3}\nchannels: {bond_1: {column: a}}", "20 ms"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {tag: a}}", "long table"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a}}\ndecimal: \",\"", "separator"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a}}\nbegin: soon", "power-up"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a}}\ninputs: {reset_1: {}}", "always"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a}}\nstatus_words: {x: perhaps}", "over-range"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a}, bond_1: {column: b}}", "\"bond_1\" stands twice, in line 2 already; keep one"},
		{"time: {column: a, format: seconds}\nchannels: {bond_1: {column: a}}\nheader: 1\nheader: 2", "\"header\" stands twice, in line 3 already; keep one"},
	} {
		_, problems := ReadMapping("map.yaml", []byte(c.text), h)
		require.NotEmpty(t, problems, c.text)
		require.Contains(t, problems.Error(), c.says)
		require.Contains(t, problems.Error(), "map.yaml:")
	}
}

func TestClockWithoutZone(t *testing.T) {
	h, c := tracetest.Header(1), tracetest.Config(1)
	m, problems := ReadMapping("m", []byte("time: {column: t, format: yyyy-MM-dd HH:mm:ss}\nchannels: {bond_1: {column: r}}\n"), h)
	require.Nil(t, problems)
	r, err := NewMapped(strings.NewReader("t,r\n2024-10-27 02:59:59,0.4\n2024-10-27 02:00:00,0.4\n"), m, h, c)
	require.NoError(t, err)
	for err == nil {
		var rec *trace.Recorded
		if rec, err = r.Next(); rec == nil {
			break
		}
	}
	require.ErrorContains(t, err, "line 3: the clock went back by 59m59s")
	require.ErrorContains(t, err, "zone")
}

// What is no table at all is one clear error.
func TestNoTable(t *testing.T) {
	h, c := tracetest.Header(1), tracetest.Config(1)
	m, _ := ReadMapping("m", []byte("time: {column: t, format: seconds}\nchannels: {bond_1: {column: r}}\n"), h)
	for text, says := range map[string]string{
		"":                        "ends at line 0",
		"a,b\n1,2\n":              "no column \"t\"",
		"\xff\xfet\x00,\x00r\x00": "UTF-16",
		"t,r\x00\n":               "compressed",
		"t,R\n":                   "did you mean",
		"\x01\xfe,b\n":            `it has: "\x01\xfe", b`,
		"t,r,r\n":                 "two columns are called \"r\", 2 and 3",
	} {
		_, err := NewMapped(strings.NewReader(text), m, h, c)
		require.ErrorContains(t, err, says)
	}
	_, err := NewMapped(iotest.ErrReader(io.ErrUnexpectedEOF), m, h, c) // a cut archive
	require.ErrorContains(t, err, "damaged or cut off in line 1")
	long := "t,r\n" + strings.Repeat("x", longestLine+10)
	r, err := NewMapped(strings.NewReader(long), m, h, c)
	require.NoError(t, err)
	_, err = r.Next()
	require.ErrorContains(t, err, "line 2 is longer")
}

// A row with more fields than names has shifted columns somewhere; blanks around
// a field and separators after the last one are habits of programs.
func TestFieldsTooManyAndBlanks(t *testing.T) {
	h, c := tracetest.Header(1), tracetest.Config(1)
	m, problems := ReadMapping("m", []byte("time: {column: t, format: seconds}\nchannels: {bond_1: {column: r}}\noutputs: {valve_1: {column: v}}\nstatus_words: {OL: over-range}\n"), h)
	require.Nil(t, problems)
	rows := []string{"0.00,0.4,1,note", " 0.01 , 0.5 , 0 ,", "0.02,0,6,1,note", "0.03, OL ,1,note,,,", `0.04,0.8,1,"a, b"`, `0.05,0.9,1,"a, b",c`, "0.06,1.0,1", "0.07, ,1,", "0.08,1.2,1,"}
	r, err := NewMapped(strings.NewReader("t,r,v,remark\n"+strings.Join(rows, "\n")+"\n"), m, h, c)
	require.NoError(t, err)
	var got []monitor.Reading
	var outputs []int8
	for {
		rec, err := r.Next()
		require.NoError(t, err)
		if rec == nil {
			break
		}
		reading := rec.In.Readings[0]
		reading.Stamp = 0
		got, outputs = append(got, reading), append(outputs, rec.Outputs[0])
	}
	valid := func(v monitor.Microohm) monitor.Reading {
		return monitor.Reading{Quality: monitor.Valid, Value: v}
	}
	require.Equal(t, []monitor.Reading{valid(400000), valid(500000), {}, {Quality: monitor.OverRange}, valid(800000), {}, valid(1000000), {}, valid(1200000)}, got)
	on, off := int8(interlock.Enabled), trace.Withheld
	require.Equal(t, []int8{on, off, off, on, on, on, on, on, on}, outputs)
	found := 0
	for _, trouble := range r.Diary.Troubles {
		if trouble.Kind == kindTooMany.Text {
			found = trouble.Count
			require.Equal(t, 4, trouble.First[0].Line)
			require.True(t, trouble.Undecided)
		}
	}
	require.Equal(t, 2, found)
}

// A recorder with a dead-band is told from one without, at the same density:
// both leave rows out here, one by the size of the step and one by chance.
func TestDenseDeadBandIsTold(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name    string
		quantum monitor.Microohm
		band    monitor.Microohm
		says    bool
	}{
		{"dead-band", 1, 12_000, true},
		{"dead-band, coarse values", 1_000, 12_000, true},
		{"by chance", 1, 0, false},
		{"by chance, coarse values", 1_000, 0, false},
		{"by chance, a constant with few steps", 20_000, 0, false},
	} {
		var n intervals
		last := monitor.Microohm(-1_000_000)
		for scan := range uint64(3000) {
			v := monitor.Microohm(300_000+random.NormFloat64()*12_000) / c.quantum * c.quantum
			keep := v-last > c.band || last-v > c.band
			if c.band == 0 {
				keep = random.IntN(2) == 0
			}
			if keep || scan%200 == 0 { // something else changed
				n.arrive(scan, monitor.Reading{Value: v, Quality: monitor.Valid})
				last = v
			}
		}
		require.Less(t, n.scans, 3*n.total, "%s: dense", c.name)
		require.Equal(t, c.says, n.deadBand(), "%s: %d steps, %d small, %d alike", c.name, n.steps, n.small, n.equal)
	}
}

// An input or channel on which a recorded output depends can not be left out: a
// difference then proves nothing.
func TestNeededColumnBlinds(t *testing.T) {
	h, c := tracetest.Header(1), tracetest.Config(1)
	text := "time: {column: t, format: seconds}\nchannels: {bond_1: {column: r}}\noutputs: {valve_1: {column: v}}\n"
	for more, blind := range map[string]bool{"": true, "inputs: {reset_1: {always: 0}, ack_1: {always: 0}, valve_1_closed: {always: 1}}\n": false} {
		m, problems := ReadMapping("m", []byte(text+more), h)
		require.Nil(t, problems)
		r, err := NewMapped(strings.NewReader("t,r,v\n0,0.4,0\n"), m, h, c)
		require.NoError(t, err)
		require.Equal(t, blind, r.Diary.Blind(), r.Diary.Troubles)
	}
}

// A table without a line of names calls its columns by number.
func TestWithoutNames(t *testing.T) {
	h, c := tracetest.Header(1), tracetest.Config(1)
	for _, end := range []string{"\n", "\r\n"} {
		m, problems := ReadMapping("m", []byte("header: 0\ntime: {column: 1, format: seconds}\nchannels: {bond_1: {column: 2}}\n"), h)
		require.Nil(t, problems)
		r, err := NewMapped(strings.NewReader("0.00,0.4"+end+"0.01,0.5"+end), m, h, c)
		require.NoError(t, err)
		for _, want := range []monitor.Microohm{400000, 500000} {
			rec, err := r.Next()
			require.NoError(t, err)
			require.Equal(t, want, rec.In.Readings[0].Value)
			require.Equal(t, int(rec.Scan)+1, rec.Line)
		}
	}
}

// FuzzReaders feeds both readers with anything: an error or rows, never a panic
// and never a run without end.
func FuzzReaders(f *testing.F) {
	f.Add([]byte("t,r\n0,0.4\n0.01,NaN\n"), false)
	f.Add([]byte(Magic+"\n# scan_ns 10000000\ntime_s,scan,bond_1.ohm,bond_1.quality,bond_1.stamp,valve_1,events\n0,0,0.4,,1,kept out,\n0.01,1,,bad,2,enabled,x\n# end 2 scans 0 events\n"), true)
	h, c := tracetest.Header(1), tracetest.Config(1)
	m, _ := ReadMapping("m", []byte("time: {column: t, format: seconds}\nchannels: {bond_1: {column: r}}\n"), h)
	f.Fuzz(func(t *testing.T, data []byte, own bool) {
		var next func() (*trace.Recorded, error)
		if own {
			r, err := NewReader(bytes.NewReader(data), h, c)
			if err != nil {
				return
			}
			next = r.Next
		} else {
			r, err := NewMapped(bytes.NewReader(data), m, h, c)
			if err != nil {
				return
			}
			next = r.Next
		}
		for range 100000 {
			rec, err := next()
			if err != nil || rec == nil {
				return
			}
		}
	})
}
