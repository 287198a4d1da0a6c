package main

import (
	"cmp"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/coverage"
	"ohmgate/hwio/port"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/verdict"
)

// gapsOf writes scenarios for the gaps of a bench into a new directory.
func gapsOf(t *testing.T, args ...string) gapReport {
	t.Helper()
	text, code := rigSays(t, append([]string{"--json", "--gaps", filepath.Join(t.TempDir(), "gaps")}, args...)...)
	require.Contains(t, []exitCode{exitShown, exitIncomplete}, code, text)
	var made gapReport
	require.NoError(t, json.Unmarshal([]byte(text), &made))
	return made
}

// Scenarios that were found for gaps are accepted by simulate, and a run of each will be judged; some are played on the twin.
func TestGapsBecomeScenariosThatCloseThem(t *testing.T) {
	t.Parallel()
	made := gapsOf(t, benchSite)
	require.Greater(t, len(made.Files), 30)
	for _, one := range made.Files {
		require.NotEmpty(t, one.Closes, one.File)
		_, errs, code := ohmgate(t, "simulate", benchSite, one.File)
		require.Equal(t, exitShown, code, "%s: %s", one.File, errs)
		files, err := readRig(benchSite, one.File)
		require.NoError(t, err)
		b, err := files.bench()
		require.NoError(t, err)
		changes, because := b.Rehearse(files.scenario)
		require.Empty(t, because, one.File)
		require.Positive(t, changes, "nothing would be judged: %s", one.File)
	}
	for _, one := range made.Open {
		require.NotEmpty(t, one.Because, one.Gap)
	}
	closes := map[string]bool{}
	for _, one := range made.Files {
		for _, gap := range one.Closes {
			closes[gap] = true
		}
	}
	for _, gap := range []string{
		"bond_1: doubtful -> lost (high)", "bond_1: bonded -> lost (open)", "valve_1: actuator unconfirmed (stayed open)",
		"valve_1: reset refused (too short for a deliberate press)", "car_1: acknowledged", "broken_wire on bond_1",
	} {
		require.True(t, closes[gap], gap)
	}
	for _, gap := range []string{"bond_1: bonded -> doubtful (missing)", "valve_1: enabled -> tripped (scan overrun)", "lost_samples on bond_1"} {
		require.False(t, closes[gap], "this bench cannot show it: %s", gap)
	}
	require.True(t, slices.IsSortedFunc(made.Files, func(a, b coverage.Scenario) int { return cmp.Compare(a.Lasts, b.Lasts) }), "the shortest first")
	for i := range made.Files { // greedily few: each is needed for something
		alone := map[string]bool{}
		for _, gap := range made.Files[i].Closes {
			alone[gap] = true
		}
		for k := range made.Files {
			for _, gap := range made.Files[k].Closes {
				if k != i {
					delete(alone, gap)
				}
			}
		}
		require.NotEmpty(t, alone, made.Files[i].File)
	}
	files, err := readRig(benchSite, "")
	require.NoError(t, err)
	for _, one := range made.Files { // the right unit follows every one of them, step by step, and the gap is closed
		record := filepath.Join(t.TempDir(), "record")
		report := playInMemory(t, one.File, record)
		require.NotEqual(t, verdict.Violated, report.Verdict, "the right unit in %s: %+v", one.File, report.Runs)
		_, sheets, err := readBack(record)
		require.NoError(t, err)
		read := coverage.NewRecords(files.site.Hash, true)
		read.Read(sheets)
		require.True(t, read.Seen[one.Gap], "%s: still open: %+v", one.File, report.Runs)
	}
}

// playInMemory plays a scenario on a twin whose lines are in memory, in time that passes only where everybody waits.
func playInMemory(t *testing.T, scenario, record string) (report *rig.Report) {
	t.Helper()
	files, err := readRig(benchSite, scenario)
	require.NoError(t, err)
	o := newRigOptions()
	o.twin, o.edges, o.record = true, 20, record
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Until(port.WallStart().Add(time.Hour))) // a fake clock begins in the year 2000
		order, err := o.order(files)
		require.NoError(t, err)
		book, _, err := o.book()
		require.NoError(t, err)
		twin, err := twinbench.Open(files.wires, twinbench.Options{InMemory: true})
		require.NoError(t, err)
		order.Settings.Devices, order.Settings.Lines = twin.Devices, twin.Lines
		report = rig.Perform(t.Context(), *order, book)
		require.NoError(t, twin.Close())
		require.NoError(t, book.Close())
	})
	return report
}

func TestGapsRefuseADirectoryOfEarlierOnes(t *testing.T) {
	old := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(old, "gap_01_x.yaml"), nil, 0o600))
	text, code := rigSays(t, "--gaps", old, benchSite)
	require.Equal(t, exitInput, code, text)
	require.Contains(t, text, "name another directory")
	text, code = rigSays(t, "--gaps", filepath.Join(old, "new"))
	require.Equal(t, exitInput, code, text)
	text, code = rigSays(t, "--coverage", benchSite, "--gaps", old)
	require.Equal(t, exitInput, code, text)
}

// followed is a step in which a unit did what the logic did.
var followed = sheet.Step{Output: "valve_1", Change: "energised", Verdict: sheet.Consistent}

// aSheet is the sheet of a run on hardware in which the unit followed and that ended so.
func aSheet(hash string, end sheet.End) sheet.Sheet {
	return sheet.Sheet{
		Head:  sheet.Head{Site: "bench_siding", SiteHash: hash, Scenario: "x", Mode: "stimulate", Run: 1, Runs: 1},
		Steps: []sheet.Step{followed}, End: &end,
	}
}

// sheetsIn writes a record with one run.
func sheetsIn(t *testing.T, s sheet.Sheet) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "record")
	book, _, err := sheet.Open(path)
	require.NoError(t, err)
	require.NoError(t, book.Add(sheet.KindHead, s.Head))
	for _, step := range s.Steps {
		require.NoError(t, book.Add(sheet.KindStep, step))
	}
	s.End.Steps = len(s.Steps)
	require.NoError(t, book.Add(sheet.KindEnd, s.End))
	require.NoError(t, book.Close())
	return path
}

func coverageOf(t *testing.T, args ...string) coverageReport {
	t.Helper()
	text, code := rigSays(t, append([]string{"--coverage", "--json"}, args...)...)
	require.Equal(t, exitIncomplete, code, text)
	var made coverageReport
	require.NoError(t, json.Unmarshal([]byte(text), &made))
	require.Equal(t, code, made.Exit)
	return made
}

func TestCoverageCountsWhatRecordsHaveSeen(t *testing.T) {
	files, err := readRig(benchSite, "")
	require.NoError(t, err)
	hash := files.site.Hash
	good := sheet.End{RigState: sheet.StateOpen, Played: true, Verdict: verdict.Shown, Graph: []string{"bond_1: bonded -> lost (open)", "bond_1: bonded -> doubtful (missing)", "not in any graph"}, Faults: []string{"clamp_removed on bond_1"}}
	one := sheetsIn(t, aSheet(hash, good))
	made := coverageOf(t, benchSite, one)
	require.Equal(t, 1, made.Sheets)
	require.Len(t, made.Coverage.Seen, 2, "what the bench cannot show is never seen, whatever a record says")
	other := good
	other.Graph, other.Faults = []string{"car_1: wait over"}, nil
	require.Len(t, coverageOf(t, benchSite, one, sheetsIn(t, aSheet(hash, other))).Coverage.Seen, 3)

	violated := good
	violated.Verdict = verdict.Violated
	made = coverageOf(t, benchSite, sheetsIn(t, aSheet(hash, violated)))
	require.Empty(t, made.Coverage.Seen)
	require.Contains(t, strings.Join(made.Notes, " "), "the unit was violated")
	made = coverageOf(t, benchSite, sheetsIn(t, aSheet("another", good)))
	require.Empty(t, made.Coverage.Seen)
	require.Contains(t, strings.Join(made.Notes, " "), "another site")

	made = coverageOf(t, benchSite, one, one)
	require.Equal(t, 1, made.Sheets, "the same run twice is one run")
	require.Contains(t, strings.Join(made.Notes, " "), "named twice")

	older := good
	older.Graph = nil
	text, code := rigSays(t, "--coverage", benchSite, sheetsIn(t, aSheet(hash, older)))
	require.Equal(t, exitInput, code, text)
	require.Contains(t, text, "before the verified graph was recorded")

	bytes, err := os.ReadFile(one)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(one, []byte(strings.Replace(string(bytes), "bonded -> lost", "bonded -> rust", 1)), 0o600))
	text, code = rigSays(t, "--coverage", benchSite, one)
	require.Equal(t, exitInput, code, "a changed record shows nothing: %s", text)
}

// The logic beside a unit goes through the graph whether the unit does anything or not: only what a unit on hardware was seen
// to follow counts.
func TestCoverageCountsNothingThatNoUnitFollowed(t *testing.T) {
	files, err := readRig(benchSite, "")
	require.NoError(t, err)
	end := sheet.End{RigState: sheet.StateOpen, Played: true, Verdict: verdict.Shown, Graph: []string{"bond_1: bonded -> lost (open)"}, Faults: []string{"clamp_removed on bond_1"}}
	for because, change := range map[coverage.Discount]func(*sheet.Sheet){
		coverage.NotOnBench: func(s *sheet.Sheet) { s.Head.Twin = coverage.OwnTwin },
		coverage.NotPlayed:  func(s *sheet.Sheet) { s.Head.Mode = "listen" },
		coverage.NotJudged:  func(s *sheet.Sheet) { s.Steps = nil },
		coverage.NotTold: func(s *sheet.Sheet) {
			s.Steps = append(s.Steps, sheet.Step{Output: "valve_1", Verdict: sheet.CannotTell})
		},
		coverage.NotRight: func(s *sheet.Sheet) {
			s.Steps = append(s.Steps, sheet.Step{Output: "valve_1", Verdict: sheet.Violated})
		},
		coverage.NotThisSite: func(s *sheet.Sheet) { s.Head.SiteHash = "another" },
	} {
		s := aSheet(files.site.Hash, end)
		change(&s)
		made := coverageOf(t, benchSite, sheetsIn(t, s))
		require.Empty(t, made.Coverage.Seen, because)
		require.Zero(t, made.Sheets, because)
		require.Equal(t, []string{"1 sheet not counted: " + because.String()}, made.Notes)
	}
	s := aSheet(files.site.Hash, end)
	s.Steps[0].Change = "withheld"
	require.Len(t, coverageOf(t, benchSite, sheetsIn(t, s)).Coverage.Seen, 1, "a fault before anything was energised shows nothing")
	s = aSheet(files.site.Hash, end)
	s.Head.Mode = "stand-in"
	require.Len(t, coverageOf(t, benchSite, sheetsIn(t, s)).Coverage.Seen, 1, "nobody plays faults to a real plant")

	s = aSheet(files.site.Hash, end)
	s.Head.Twin = coverage.OwnTwin
	require.Len(t, coverageOf(t, "--twin", benchSite, sheetsIn(t, s)).Coverage.Seen, 2, "apart, if asked for")
	s.Head.Twin = "wrong unit: slow"
	require.Empty(t, coverageOf(t, "--twin", benchSite, sheetsIn(t, s)).Coverage.Seen)
	require.Empty(t, coverageOf(t, "--twin", benchSite, sheetsIn(t, aSheet(files.site.Hash, end))).Coverage.Seen)
}

func TestCoverageFitsTheLine(t *testing.T) {
	text, code := rigSays(t, "--coverage", benchSite)
	require.Equal(t, exitIncomplete, code, text)
	fits(t, text)
	require.Contains(t, text, "cannot    a scan overrun happens inside the unit")
}

// A stand-in bench reads and plays nothing: no file is written, and every gap says so.
func TestGapsOfABenchThatOnlyReads(t *testing.T) {
	made := gapsOf(t, standInSite)
	require.Empty(t, made.Files)
	require.Greater(t, len(made.Open), 100)
	for _, one := range made.Open {
		require.Contains(t, one.Because, "by hand", one.Gap)
	}
}
