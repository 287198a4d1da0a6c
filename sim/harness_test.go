package sim

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

const sitesDirectory = "../testdata/sites/"

// readSite reads one of the demo sites, or a site given as text.
func readSite(t testing.TB, nameOrText string) *site.Site {
	t.Helper()
	if strings.Contains(nameOrText, "\n") {
		s, problems := site.Parse("test site", []byte(nameOrText))
		require.Nil(t, problems, "%v", problems)
		return s
	}
	s, problems := site.Read(sitesDirectory + nameOrText + ".yaml")
	require.Nil(t, problems, "%v", problems)
	return s
}

// tape keeps every scan of a run.
type tape struct {
	header   trace.Header
	zero     uint64
	readings [][]monitor.Reading
	signals  [][]interlock.Signal
	phases   [][]monitor.Phase
	overruns []bool
	powerUps []bool
	coils    []interlock.CoilSet
	bonded   [][]bool
	flowing  [][]bool
	ohms     [][]float64
	faults   [][]string
}

func (r *tape) Begin(h *trace.Header) error { r.header = *h; return nil }
func (r *tape) Close() error                { return nil }

func (r *tape) Write(row *trace.Row) error {
	phases := make([]monitor.Phase, len(row.State.Channels))
	for i := range phases {
		phases[i] = row.State.Channels[i].Phase
	}
	r.readings = append(r.readings, append([]monitor.Reading(nil), row.In.Readings...))
	r.signals = append(r.signals, append([]interlock.Signal(nil), row.In.Signals...))
	r.phases = append(r.phases, phases)
	r.overruns = append(r.overruns, row.In.Overrun)
	r.powerUps = append(r.powerUps, row.PowerUp)
	r.coils = append(r.coils, row.Decision.Coils)
	r.bonded = append(r.bonded, append([]bool(nil), row.Truth.Bonded...))
	r.flowing = append(r.flowing, append([]bool(nil), row.Truth.Flowing...))
	r.ohms = append(r.ohms, append([]float64(nil), row.Truth.Ohms...))
	r.faults = append(r.faults, append([]string(nil), row.Truth.Faults...))
	return nil
}

// at is the scan of a time of the scenario.
func (r *tape) at(d time.Duration) uint64 { return r.zero + uint64(d/r.header.Period) }

// between lists what arrived of a channel in a stretch of the scenario.
func (r *tape) between(channel int, from, to time.Duration) []monitor.Reading {
	var list []monitor.Reading
	for scan := r.at(from); scan < r.at(to); scan++ {
		if reading := r.readings[scan][channel]; reading.Quality != monitor.Absent {
			list = append(list, reading)
		}
	}
	return list
}

// play runs a scenario that is given as text and records it.
func play(t testing.TB, s *site.Site, text string) (*Result, *tape) {
	t.Helper()
	sc, problems := ParseScenario("test.yaml", []byte(text), s)
	require.Nil(t, problems, "%v", problems)
	record := &tape{}
	result, err := Run(s, sc, Options{Recorders: []trace.Writer{record}})
	require.NoError(t, err)
	record.zero = result.Prelude
	return result, record
}

// demand fails for every expectation that was not shown.
func demand(t testing.TB, r *Result) {
	t.Helper()
	require.NotEmpty(t, r.Outcomes, "the scenario expects nothing")
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		if o.Verdict != verdict.Shown {
			t.Errorf("%s:%d: %s: %s, %s at scan %d\n%s", r.Scenario.File, o.Expectation.Place.Line, o.Expectation.Text, o.Verdict, o.Detail, o.Scan, storyText(r, o.Scan))
		}
	}
}

// storyText is the sequence of events up to a scan, for failures.
func storyText(r *Result, upTo uint64) string {
	var b strings.Builder
	for _, told := range r.Told {
		if told.Scan <= upTo+10 {
			b.WriteString("  " + (time.Duration(told.Scan) * r.Period).String() + " " + told.Subject + " " + told.What + " " + strings.Join(told.Why, "; ") + "\n")
		}
	}
	return b.String()
}

// scenarioFiles lists all scenarios of testdata with their sites.
func scenarioFiles(t testing.TB) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir("../testdata/scenarios", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".yaml" {
			return err
		}
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, line := range strings.Split(string(text), "\n") {
			if name, ok := strings.CutPrefix(line, "site: "); ok {
				files[path] = strings.TrimSpace(name)
			}
		}
		require.NotEmpty(t, files[path], "%s names no site", path)
		return nil
	})
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 16, "scenarios are missing")
	return files
}
