package live_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/model"
	"ohmgate/sim"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/journal"
	"ohmgate/sim/trace/replay"
)

// readers are all that turn one run's events into words.
type readers struct {
	names   *model.Names // of verify
	serve   *live.Follower
	journal *journal.Writer
	shift   string       // where journal writes
	table   bytes.Buffer // what csv writes
	csv     *csv.Writer

	header *trace.Header
	off    []bool // by event: without supply there is nobody to tell
	kinds  map[interlock.Kind]int
	brief  []string
}

func (r *readers) Begin(h *trace.Header) error {
	r.header, r.journal, r.csv = h, journal.NewWriter(r.shift), csv.NewStream(&r.table)
	if err := r.csv.Begin(h); err != nil {
		return err
	}
	return r.journal.Begin(h)
}

func (r *readers) Write(row *trace.Row) error {
	off := slices.Contains(row.Truth.Faults, "power_dip")
	for i := range row.Decision.Events {
		e := &row.Decision.Events[i]
		r.off, r.brief = append(r.off, off), append(r.brief, r.names.Brief(e))
		r.kinds[e.Kind]++
	}
	if err := r.serve.Watch(&loop.Turn{Scan: row.Scan, In: row.In, State: row.State, Decision: row.Decision}); err != nil {
		return err
	}
	if err := r.csv.Write(row); err != nil {
		return err
	}
	return r.journal.Write(row)
}

func (r *readers) Close() error {
	if err := r.csv.Close(); err != nil {
		return err
	}
	return r.journal.Close()
}

// entries are what the journal holds, and the same as the table holds it.
func (r *readers) entries(t *testing.T) (list []journal.Entry) {
	t.Helper()
	text, err := os.ReadFile(r.shift)
	require.NoError(t, err)
	for line := range strings.Lines(string(text)) {
		var e journal.Entry
		require.NoError(t, json.Unmarshal([]byte(line), &e))
		if e.Event != "" {
			list = append(list, e)
		}
	}
	return list
}

// random is a scenario in which people and faults do what comes to mind, long
// enough for waits to pass.
func random(t *testing.T, s *site.Site, r *rand.Rand) *sim.Scenario {
	t.Helper()
	at := func() string { return fmt.Sprintf("%.2f s", 175*r.Float64()) }
	steps, faults := "", ""
	for i := range s.Inputs {
		name := s.Inputs[i].Name
		switch s.Inputs[i].Use {
		case "button", "key":
			for range 14 {
				steps += fmt.Sprintf("  - {at: %s, do: press, on: %s, for: %.2f s}\n", at(), name, 0.05+1.5*r.Float64()*r.Float64())
			}
		case "switch", "evidence":
			steps += fmt.Sprintf("  - {at: 0 s, do: set, on: %s, to: yes}\n  - {at: %s, do: set, on: %s, to: no}\n  - {at: %s, do: set, on: %s, to: yes}\n", name, at(), name, at(), name)
		}
	}
	for i := range s.Channels {
		name := s.Channels[i].Name
		steps += fmt.Sprintf("  - {at: 0 s, do: connect, on: %s}\n", name)
		for range 1 + r.IntN(5) {
			off := 170 * r.Float64()
			steps += fmt.Sprintf("  - {at: %.2f s, do: disconnect, on: %s}\n  - {at: %.2f s, do: connect, on: %s}\n", off, name, off+9*r.Float64()*r.Float64(), name)
		}
		between := fmt.Sprintf("  - {at: %.2f s, read: between, on: %s, for: %.2f s}\n", 2*r.Float64(), name, 0.1+r.Float64())
		if _, wrong := sim.ParseScenario("one", []byte("scenario: one\nlasts: 180 s\nsteps:\n"+between), s); wrong == nil { // else nothing lies between
			steps += between
		}
	}
	for _, f := range fault.All() {
		on := sim.FaultsOn(s, f)
		if len(on) == 0 || r.IntN(3) > 0 {
			continue
		}
		begin := 170 * r.Float64()
		line := fmt.Sprintf("  - {at: %.2f s, fault: %s, until: %.2f s", begin, f.Name, begin+4*r.Float64()+0.1)
		if f.On != fault.OnBus && f.On != fault.OnLogic {
			line += ", on: " + on[r.IntN(len(on))]
		}
		line += "}\n"
		if _, wrong := sim.ParseScenario("one", []byte("scenario: one\nlasts: 180 s\nfaults:\n"+line), s); wrong == nil { // else it needs a figure
			faults += line
		}
	}
	text := "scenario: random\nlasts: 180 s\nsteps:\n" + steps
	if faults != "" {
		text += "faults:\n" + faults
	}
	sc, problems := sim.ParseScenario("random", []byte(text), s)
	require.Nil(t, problems, "%v\n%s", problems, text)
	return sc
}

// TestEveryReaderTellsAnEventInTheSameWords is the law of one dictionary: of each
// event of random runs, simulate and serve say the same line; journal, table and
// replay hold the same record; and what verify calls it begins that record.
func TestEveryReaderTellsAnEventInTheSameWords(t *testing.T) {
	kinds := map[interlock.Kind]int{}
	for n, name := range []string{"sites/kestrel_siding", "sites/amber_line", "sites/hazel_works", "rig/bench_siding"} {
		for seed := range uint64(4) {
			t.Run(fmt.Sprintf("%s %d", filepath.Base(name), seed), func(t *testing.T) {
				s, problems := site.Read(filepath.Join("..", "..", "..", "testdata", name+".yaml"))
				require.Nil(t, problems)
				m, err := model.FromSite(s)
				require.NoError(t, err)
				r := &readers{names: &m.Names, serve: live.NewFollower(&live.Names{Site: s, Config: m.Config, Period: s.Period.Max}), kinds: kinds, shift: filepath.Join(t.TempDir(), "events")}
				run, err := sim.Run(s, random(t, s, rand.New(rand.NewPCG(uint64(n), seed))), sim.Options{Recorders: []trace.Writer{r}})
				require.NoError(t, err)
				sameLines(t, r, run)
				sameRecords(t, m.Config, r)
			})
		}
	}
	for k := interlock.NoEvent + 1; k < interlock.Kinds; k++ {
		if kinds[k] == 0 {
			t.Errorf("%q (%d) came about in no random run: nothing is shown of it", k, k)
		}
	}
}

// sameLines holds what simulate tells against what serve tells.
func sameLines(t *testing.T, r *readers, run *sim.Result) {
	t.Helper()
	var simulate []string
	for i := range run.Told {
		told := run.Told[i]
		if told.Plant || told.Kind == tell.OrderNotKnown {
			continue
		}
		// What a trip has won is simulate's own: only it knows the physics.
		told.Why = slices.DeleteFunc(slices.Clone(told.Why), func(why string) bool { return strings.Contains(why, " decades below ") })
		simulate = append(simulate, fmt.Sprintf("%d %s: %s", told.Scan, told.Kind, told.String()))
	}
	var serve []string
	for i, e := range r.serve.Events {
		if !r.off[i] {
			serve = append(serve, fmt.Sprintf("%d %s: %s", e.Scan, e.Kind, e.Text))
		}
	}
	require.NotEmpty(t, serve)
	require.Equal(t, simulate, serve)
}

// sameRecords holds the journal against the table, and both against the names
// that verify gives.
func sameRecords(t *testing.T, c *interlock.Config, r *readers) {
	t.Helper()
	entries := r.entries(t)
	require.Len(t, entries, len(r.brief))
	for i, e := range entries {
		require.True(t, strings.HasPrefix(e.Text, r.brief[i]), "verify calls it %q, the journal %q", r.brief[i], e.Text)
		require.Equal(t, e.Event, r.serve.Events[i].Kind)
		for _, reason := range e.Reasons {
			require.Contains(t, tell.Texts(interlock.AllReasons), reason)
		}
	}
	again, err := csv.NewReader(bytes.NewReader(r.table.Bytes()), r.header, c)
	require.NoError(t, err)
	report, err := replay.New(c, r.header, replay.Options{}).Run(again, &again.Diary)
	require.NoError(t, err)
	require.Equal(t, verdict.Shown, report.Verdict, "replay: %+v", report.First)
	reader, err := csv.NewReader(&r.table, r.header, c)
	require.NoError(t, err)
	at := 0
	for {
		row, err := reader.Next()
		require.NoError(t, err)
		if row == nil {
			break
		}
		for _, text := range strings.Split(string(row.Events), "; ") {
			if text != "" {
				require.Equal(t, text, entries[at].Text)
				at++
			}
		}
	}
	require.Equal(t, len(entries), at)
}
