package metrics

import (
	"bytes"
	"io"
	"net/http/httptest"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/tracetest"
)

// witness counts the same run with nothing but the rows, written apart from
// what it checks.
type witness struct {
	config    *interlock.Config
	trips     map[int]int // per output
	early     int
	overruns  int
	latencies map[string][]int
	mode      []interlock.Mode
	bonded    []int // last scan with its earth
}

func (w *witness) Begin(*trace.Header) error { return nil }
func (w *witness) Close() error              { return nil }

func (w *witness) Write(r *trace.Row) error {
	if w.mode == nil {
		w.mode = make([]interlock.Mode, len(r.State.Outputs))
		w.bonded = make([]int, len(r.State.Channels))
		w.trips, w.latencies = map[int]int{}, map[string][]int{}
	}
	if r.In.Overrun {
		w.overruns++
	}
	for _, e := range r.Decision.Events {
		switch e.Kind {
		case interlock.OutputTripped:
			w.trips[e.Subject]++
			// Every valve of the test works depends on its own channel alone.
			if e.Subject < len(w.bonded) && e.Reasons&(interlock.ReasonNotMet|interlock.ReasonUnknown) != 0 && r.Truth.Ohms[e.Subject] > 10 {
				key := strconv.Itoa(e.Subject)
				w.latencies[key] = append(w.latencies[key], int(r.Scan)-w.bonded[e.Subject])
			}
		case interlock.ReconnectedEarly:
			w.early++
		}
	}
	for i, ohms := range r.Truth.Ohms {
		if ohms <= 10 {
			w.bonded[i] = int(r.Scan)
		}
	}
	return nil
}

const testBays, testScans = 3, 60000

// openMetrics runs the story into a file's bytes.
func openMetrics(t *testing.T) (*File, string, *witness) {
	t.Helper()
	c := tracetest.Config(testBays)
	var out bytes.Buffer
	f, w := &File{Metrics: New(c), to: &out}, &witness{config: c}
	group := trace.Group{f, w}
	require.NoError(t, group.Begin(tracetest.Header(testBays)))
	require.NoError(t, tracetest.Run(testBays, testScans, group))
	require.NoError(t, group.Close())
	return f, out.String(), w
}

// series reads the text as the standard lays it out, and refuses what it
// forbids: interleaved families, times that do not rise, text after the end.
func series(t *testing.T, text string) map[string][]string {
	t.Helper()
	body, ok := strings.CutSuffix(text, "# EOF\n")
	require.True(t, ok, "no # EOF at the end")
	list, last, seen := map[string][]string{}, map[string]float64{}, map[string]bool{}
	family := ""
	for _, line := range strings.Split(strings.TrimSuffix(body, "\n"), "\n") {
		if rest, ok := strings.CutPrefix(line, "# TYPE "); ok {
			family, _, _ = strings.Cut(rest, " ")
			require.False(t, seen[family], "family %s comes twice", family)
			seen[family] = true
			continue
		}
		if strings.HasPrefix(line, "# ") {
			require.Contains(t, line, " "+family+" ")
			continue
		}
		require.True(t, strings.HasPrefix(line, family), "%s stands in family %s", line, family)
		at := strings.LastIndexByte(line, ' ')
		cut := strings.LastIndexByte(line[:at], ' ')
		name, value := line[:cut], line[cut+1:at]
		time, err := strconv.ParseFloat(line[at+1:], 64)
		require.NoError(t, err)
		require.Greater(t, time, last[name], "times of %s do not rise", name)
		last[name] = time
		list[name] = append(list[name], line[at+1:]+" "+value)
	}
	return list
}

func lastOf(list []string) string {
	_, value, _ := strings.Cut(list[len(list)-1], " ")
	return value
}

// What the board counts must be what the witness counted.
func TestCountsAgreeWithAWitness(t *testing.T) {
	f, text, w := openMetrics(t)
	list := series(t, text)
	samples := 0
	for _, s := range list {
		samples += len(s)
	}
	require.Equal(t, f.Samples(), samples)
	h := tracetest.Header(testBays)
	total := 0
	for i, name := range h.Outputs {
		require.Equal(t, strconv.Itoa(w.trips[i]), lastOf(list[`ohmgate_output_trips_total{output="`+name+`"}`]), name)
		total += w.trips[i]
	}
	require.Greater(t, total, 10, "the story holds hardly a trip")
	early := 0
	for _, name := range h.Vessels {
		n, err := strconv.Atoi(lastOf(list[`ohmgate_vessel_early_reconnections_total{vessel="`+name+`"}`]))
		require.NoError(t, err)
		early += n
	}
	require.Equal(t, w.early, early)
	require.Positive(t, early)
	require.Equal(t, strconv.Itoa(w.overruns), lastOf(list["ohmgate_scan_overruns_total"]))
	for i := range testBays {
		key := `{output="` + h.Outputs[i] + `",channel="` + h.Channels[i] + `"}`
		latencies := w.latencies[strconv.Itoa(i)]
		require.NotEmpty(t, latencies)
		sum := 0
		for _, l := range latencies {
			sum += l
		}
		require.Equal(t, strconv.Itoa(len(latencies)), lastOf(list["ohmgate_withholding_latency_scans_count"+key]))
		require.Equal(t, strconv.Itoa(sum), lastOf(list["ohmgate_withholding_latency_scans_sum"+key]))
		sort.Ints(latencies)
		require.Equal(t, strconv.Itoa(latencies[len(latencies)-1]), lastOf(list["ohmgate_withholding_worst_scans"+key]))
	}
}

// One edge stands exactly on the bound, whatever the bound is.
func TestAnEdgeStandsOnTheBound(t *testing.T) {
	for _, bound := range []uint32{1, 2, 4, 20, 26, 99, 100, 101, 54321} {
		edges := edgesFor(bound)
		require.Contains(t, edges, float64(bound))
		require.True(t, sort.Float64sAreSorted(edges))
		for i := 1; i < len(edges); i++ {
			require.Less(t, edges[i-1], edges[i], "an edge comes twice")
		}
	}
	b := &board{}
	m := b.with(b.add(family{typ: histogram}))
	m.edges = edgesFor(26)
	m.counts = make([]uint64, len(m.edges)+1)
	b.observe(m, 26)
	b.observe(m, 27)
	require.EqualValues(t, 1, m.counts[sort.SearchFloat64s(m.edges, 26)], "the bound itself is within")
}

// A reading that is stale or unusable shows no resistance, and its age rises.
func TestStaleReadingsShowNothing(t *testing.T) {
	c, h := tracetest.Config(1), tracetest.Header(1)
	m := New(c)
	require.NoError(t, m.Begin(h))
	state, in, d := interlock.NewState(c), interlock.NewInputs(c), interlock.NewDecision(c)
	var shown []string
	for k := 0; k < 20; k++ {
		in.Readings[0] = monitor.Reading{}
		if k < 5 {
			in.Readings[0] = monitor.Reading{Value: 400000, Quality: monitor.Valid, Stamp: uint16(k)}
		}
		interlock.Step(c, state, in, d)
		at := time.Duration(k) * h.Period
		require.NoError(t, m.Write(&trace.Row{Scan: uint64(k), Time: at, In: in, State: state, Decision: d}))
		shown = append(shown, strconv.FormatFloat(m.channels[0].resistance.value, 'g', -1, 64))
		if k > 4 {
			require.InDelta(t, float64(k-4)*0.01, m.channels[0].age.value, 1e-9)
		}
	}
	require.Equal(t, "0.4", shown[10], "six scans without news are forgiven")
	require.Equal(t, "NaN", shown[11])
	require.Equal(t, "NaN", shown[19])
}

// TestLiveNamesAreTheFilesNames scrapes a registry over HTTP, in both formats,
// and compares its series with those of the file.
func TestLiveNamesAreTheFilesNames(t *testing.T) {
	_, text, _ := openMetrics(t)
	m := New(tracetest.Config(testBays))
	require.NoError(t, m.Begin(tracetest.Header(testBays)))
	require.NoError(t, tracetest.Run(testBays, testScans, m))
	registry, err := m.Registry()
	require.NoError(t, err)
	server := httptest.NewServer(promhttp.HandlerFor(registry, promhttp.HandlerOpts{EnableOpenMetrics: true}))
	defer server.Close()
	response, err := server.Client().Get(server.URL)
	require.NoError(t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	require.NoError(t, err)
	canonical := func(name string) string { // labels in one order
		head, labels, ok := strings.Cut(strings.TrimSuffix(name, "}"), "{")
		if !ok {
			return name
		}
		list := regexp.MustCompile(`[a-z_]+="[^"]*"`).FindAllString(labels, -1)
		sort.Strings(list)
		return head + strings.ReplaceAll("{"+strings.Join(list, ",")+"}", ".0\"", "\"")
	}
	live := map[string]bool{}
	for _, line := range strings.Split(string(body), "\n") {
		if line != "" && line[0] != '#' {
			live[canonical(line[:strings.LastIndexByte(line, ' ')])] = true
		}
	}
	inFile := map[string]bool{}
	for name := range series(t, text) {
		inFile[canonical(name)] = true
	}
	require.Greater(t, len(live), 100)
	require.Equal(t, live, inFile)
}

// TestNames lets promlint read the metrics, and then checks what promlint does
// not know: ohms, scans, and that a unit in a name is a unit of the family.
func TestNames(t *testing.T) {
	m := New(tracetest.Config(2))
	require.NoError(t, m.Begin(tracetest.Header(2)))
	registry, err := m.Registry()
	require.NoError(t, err)
	gathered, err := registry.Gather()
	require.NoError(t, err)
	require.Greater(t, len(gathered), 20)
	problems, err := promlint.NewWithMetricFamilies(gathered).Lint()
	require.NoError(t, err)
	require.Empty(t, problems)
	for _, f := range m.board.families {
		require.Empty(t, unitProblem(f), f.name)
	}
	for _, planted := range []family{
		{name: "ohmgate_loop_ohm", typ: gauge}, {name: "ohmgate_wait_ms", typ: gauge}, {name: "ohmgate_loop_milliohms", typ: gauge},
		{name: "ohmgate_trips_total", typ: counter}, {name: "ohmgate_loop_ohms", typ: gauge}, {name: "loop_ohms", typ: gauge, unit: "ohms"},
		{name: "ohmgate_age_seconds", typ: gauge, unit: "ohms"},
	} {
		require.NotEmpty(t, unitProblem(&planted), planted.name)
	}
}

// unitProblem says what is wrong with a name; empty if nothing is.
func unitProblem(f *family) string {
	units := map[string]bool{"ohms": true, "seconds": true, "scans": true}
	last := f.name[strings.LastIndexByte(f.name, '_')+1:]
	switch {
	case !strings.HasPrefix(f.name, "ohmgate_"):
		return "does not begin with the program's name"
	case strings.HasSuffix(f.name, "_total") || strings.HasSuffix(f.name, "_info"):
		return "the suffix belongs to the sample, not to the family"
	case f.unit != "" && (f.unit != last || !units[f.unit]):
		return "the unit is not the end of the name, or no base unit"
	case f.unit == "" && units[last] && f.name != "ohmgate_scans":
		return "the name ends in a unit that the family does not have"
	case regexp.MustCompile(`_(ohm|milliohms|kiloohms|megohms|ms|us|milliseconds|second|minutes|hours|scan)$`).MatchString(f.name):
		return "not a base unit in the plural"
	}
	return ""
}
