package fault

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

func referenceTable(t *testing.T, pairs bool) *Table {
	t.Helper()
	m, err := model.Reference()
	require.NoError(t, err)
	table, err := Tabulate(m, model.Options{Outputs: []string{"valve"}}, pairs)
	require.NoError(t, err)
	return table
}

// No blank: every row says what is found, and how; every fault of the catalogue
// has a row, but for those that can be nowhere around the output.
func TestFaultTableHasNoBlanks(t *testing.T) {
	table := referenceTable(t, true)
	require.Empty(t, table.NeverRan)
	listed := map[string]bool{}
	for i := range table.Rows {
		r := &table.Rows[i]
		require.Contains(t, foundRank, r.Found, "%+v", r)
		require.NotEmpty(t, r.Rule, "%+v", r)
		require.NotEmpty(t, r.Effect, "%+v", r)
		require.NotEmpty(t, r.Look, "%+v", r)
		if r.Found == NotDetected {
			require.NotEmpty(t, r.Instead)
			require.NotNil(t, r.Run)
		} else {
			require.NotZero(t, r.Scans, "%+v", r)
		}
		require.True(t, r.AtMost == 0 || r.AtMost >= r.Scans, "%+v", r)
		if r.Second == "" {
			listed[r.Fault] = true
		}
	}
	for _, f := range catalogue.All() {
		require.True(t, listed[f.Name], "%s has no row", f.Name)
	}
	var b bytes.Buffer
	require.NoError(t, table.WriteCSV(&b, "reference", "hash", "tool"))
	require.Equal(t, len(table.Rows)+1, bytes.Count(b.Bytes(), []byte("\n")))
}

// Every pair is result but a fault with itself.
func TestFaultTableTriesEveryPair(t *testing.T) {
	table := referenceTable(t, true)
	n := table.Singles
	require.Equal(t, n*(n-1)/2, table.Pairs)
	require.Len(t, table.Rows, n+table.Pairs)
}

func rowOf(t *testing.T, table *Table, fault, on string) *Row {
	t.Helper()
	for i := range table.Rows {
		if r := &table.Rows[i]; r.Fault == fault && r.On == on && r.Second == "" {
			return r
		}
	}
	require.Fail(t, "no row", "%s on %s", fault, on)
	return nil
}

// What each kind of rule sees, worked out by hand from the reference site.
func TestFaultTableSaysWhichRuleSees(t *testing.T) {
	table := referenceTable(t, false)
	for _, x := range []struct {
		fault, on string
		found     Found
		scans     model.Scans
		defeats   bool
	}{
		{"clamp_removed", "bond_1", Withheld, 4, false},           // high costs 6 of 24: the fourth
		{"over_range", "bond_1", Withheld, 1, false},              // open costs all
		{"bad_quality", "bond_1", Withheld, 3, false},             // 8 of 24
		{"clamp_on_wrong_object", "bond_1", NotDetected, 0, true}, // the evidence may stay
		{"clamp_on_wrong_object", "bond_3", NotDetected, 0, true}, // no evidence
		{"strap_left_out", "bond_1", NotDetected, 0, true},
		{"shorted_leads", "bond_1", NotDetected, 0, false}, // the bond is there all the same
		{"stuck_valve", "valve", KeptOut, 14, false},       // travel is 12: late in the 14th overrun
		{"button_taped", "reset", KeptOut, 14, false},
		{"bypass_used", "bypass", Announced, 1, false},
		{"scan_overrun", "logic", Withheld, 1, false},
	} {
		r := rowOf(t, table, x.fault, x.on)
		require.Equal(t, x.found, r.Found, "%+v", r)
		require.Equal(t, x.defeats, r.Defeats, "%+v", r)
		if x.scans > 0 {
			require.Equal(t, x.scans, r.Scans, "%+v", r)
		}
	}
}

// A minimal set never holds another one, and hides where the bond is gone.
func TestDefeatsAreMinimal(t *testing.T) {
	table := referenceTable(t, true)
	table.Replay()
	alone := map[string]bool{}
	for _, d := range table.Defeats {
		if len(d.Faults) == 1 {
			alone[d.Faults[0].String()] = true
		}
	}
	require.Contains(t, alone, "strap_left_out on bond_3")
	pairs := map[string]bool{}
	for _, d := range table.Defeats {
		require.NotNil(t, d.Run)
		require.NotEmpty(t, d.Run.Expect)
		if len(d.Faults) == 2 {
			require.False(t, alone[d.Faults[0].String()] || alone[d.Faults[1].String()], "%v", d.Faults)
			pairs[d.Faults[0].String()+" + "+d.Faults[1].String()] = true
		}
	}
	require.Contains(t, pairs, "clamp_removed on bond_1 + shorted_leads on bond_1")
	require.NotContains(t, pairs, "broken_wire on bond_1 + clamp_removed on bond_1", "it reads open")
	require.NotContains(t, pairs, "chatter on bond_1 + clamp_removed on bond_1", "chatter hides nothing")
	require.NotContains(t, pairs, "clamp_removed on bond_1 + fast_bursts on bond_1")
}

// An output that never runs is not left out: it says so, and nothing is shown.
func TestWhatNeverRunsHasARow(t *testing.T) {
	m := bay(t)
	m.Config.Outputs[0].Permissive = nil
	table, err := Tabulate(m, model.Options{Outputs: []string{"valve_1"}}, false)
	require.NoError(t, err)
	require.Equal(t, []string{"valve_1"}, table.NeverRan)
	require.Len(t, table.Rows, 1)
	require.Equal(t, NotRun, table.Rows[0].Found)
	require.Equal(t, verdict.NothingChecked, table.Verdict())
}

// A contact that chatters in the pattern that a consecutive rule forgives for
// ever defeats it alone, and hides nothing: that is violated. With a rule that
// repays slowly it does not.
func TestChatterDefeatsTheConsecutiveRule(t *testing.T) {
	for _, x := range []struct {
		counting string
		want     verdict.Verdict
	}{{"consecutive", verdict.Violated}, {"integrating 4:1", verdict.Shown}} {
		table, err := Tabulate(bay(t, "counting: consecutive", "counting: "+x.counting), model.Options{Outputs: []string{"valve_1"}}, false)
		require.NoError(t, err)
		require.Equal(t, x.want, table.Verdict())
		r := rowOf(t, table, "chatter", "bond_1")
		require.Equal(t, x.want == verdict.Violated, r.Defeats)
		if r.Defeats {
			require.Equal(t, Announced, r.Found, "doubtful is told")
			require.Nil(t, r.Once)
		} else {
			require.Equal(t, NotDetected, r.Found, "while it shows nothing")
			require.Equal(t, Announced, r.Once.Found)
		}
	}
}

// A vote that holds without one of its channels is no blank either: it is told.
func TestOneOfAVoteIsAnnounced(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	table, err := Tabulate(m, model.Options{Outputs: []string{"mixer"}}, true)
	require.NoError(t, err)
	r := rowOf(t, table, "clamp_removed", "bond_2")
	require.Equal(t, Announced, r.Found)
	require.Equal(t, "bond_2 lost", r.Rule)
	both := 0
	for i := range table.Rows {
		if r := &table.Rows[i]; r.Fault == "clamp_removed" && r.Second == "clamp_removed" {
			require.Equal(t, Withheld, r.Found, "%+v", r)
			both++
		}
	}
	require.Equal(t, 3, both, "each two of three")
}

// A valve that reports nothing and has no backup: that it stays open is seen by
// nobody, and with the clamp off product flows on.
func TestAStuckValveWithoutConfirmation(t *testing.T) {
	m := bay(t, "press: 0.1..3 s,\n    confirm: {closed: closed_1, opened: opened_1, travel: 6 s}, backup: [pump], backup_when: unconfirmed}", "press: 0.1..3 s}", "through: [valve_1, pump]", "through: [valve_1], longest_stop: 6 s")
	table, err := Tabulate(m, model.Options{Outputs: []string{"valve_1"}}, true)
	require.NoError(t, err)
	require.Equal(t, NotDetected, rowOf(t, table, "stuck_valve", "valve_1").Found)
	found := false
	for _, d := range table.Defeats {
		if len(d.Faults) == 2 && d.Faults[0].String() == "clamp_removed on bond_1" && d.Faults[1].String() == "stuck_valve on valve_1" {
			found = true
			require.True(t, d.Seen)
			require.Equal(t, "withheld, and product flows on although the bond is gone", d.Says)
		}
	}
	require.True(t, found)
}

// What is put together from two faults that meet nowhere must be what the run of
// both gives.
func TestFaultsApartActApart(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	for output := range 2 {
		p := placerOn(runs.NewBench(m, model.Options{}))
		x := p.newCampaign(output)
		x.ands = true
		require.True(t, x.s.Runs)
		places, compared := x.around(), 0
		for i := range places {
			for k := i + 1; k < len(places); k++ {
				if !x.apart(&places[i], &places[k]) {
					continue
				}
				for _, looks := range together(&places[i], &places[k]) {
					compared++
					put, run := x.outcome(looks, true), x.outcome(looks, false)
					require.Equal(t, run.found, put.found, "%s: %+v, put together %+v", textOf(looks), run, put)
					require.True(t, put.defeats || !run.defeats, "%s: %+v, put together %+v", textOf(looks), run, put)
					if run.found == Withheld {
						require.Equal(t, run.scans, put.scans, textOf(looks))
					}
				}
			}
		}
		require.Greater(t, compared, 1000)
	}
}

// However many cores judge, the table is the same.
func TestCoresChangeNothing(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	var tables [2]*Table
	for i := range tables {
		tables[i], err = Tabulate(m, model.Options{Outputs: []string{"valve"}, Workers: 1 + 3*i}, false)
		require.NoError(t, err)
		tables[i].Replay()
		for k := range tables[i].Rows {
			tables[i].Rows[k].Run = nil
		}
		for k := range tables[i].Defeats {
			tables[i].Defeats[k].replay = nil
		}
	}
	require.Equal(t, tables[0], tables[1])
}
