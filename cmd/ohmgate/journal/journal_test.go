package journal_test

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"

	"ohmgate/cmd/ohmgate/journal"
	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/livetest"
)

var head = journal.Head{Site: "quarry_road", SiteHash: "abc", Tool: "test", Period: livetest.Period, Channels: 2, Inputs: 3}

// absent skips where a peer is missing, and fails where CI has to have it.
func absent(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing, and CI must have it", what)
	}
	t.Skipf("%s is missing: not tested here", what)
}

// kept is a journal with a trip in it, written by a live session that was also
// wound back once.
func kept(t *testing.T) (path string, told []live.Event) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "plant.journal")
	j, err := journal.Open(path, head, 0)
	require.NoError(t, err)
	o := livetest.Options(2)
	o.Keeper, o.Paused = j, true
	s, err := live.New(o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- s.Run(ctx) }()
	do := func(err error) { t.Helper(); require.NoError(t, err) }
	do(s.Advance(ctx, 800))
	do(s.Act(ctx, live.Action{Do: "press", On: "reset_1"}))
	do(s.Advance(ctx, 300))
	do(s.Act(ctx, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_2"}))
	do(s.Advance(ctx, 700))
	do(s.Rewind(ctx, 1000))
	do(s.Advance(ctx, 77))
	do(s.Act(ctx, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_1"}))
	do(s.Advance(ctx, 500))
	cancel()
	require.NoError(t, <-done)
	told = s.LastEvents(10000)
	require.NoError(t, j.Close())
	return path, told
}

func check(t *testing.T, path string) *journal.Report {
	t.Helper()
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	r, err := b.Check()
	require.NoError(t, err)
	return r
}

func TestEverythingToldIsKept(t *testing.T) {
	path, told := kept(t)
	r := check(t, path)
	require.Empty(t, r.Findings)
	require.Equal(t, 1, r.Sessions)
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	all, err := b.Find(context.Background(), live.Question{}, time.Time{}, time.Time{})
	require.NoError(t, err)
	have := map[string]bool{}
	for _, rec := range all {
		have[string(rec.Body)] = true
	}
	require.Greater(t, len(told), 15)
	for i := range told {
		require.True(t, have[string(told[i].JSON())], "not kept: %s", told[i].Text)
	}
	trips, err := b.Find(context.Background(), live.Question{Name: "bond_1", Kind: "tripped"}, time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, trips, 1)
	require.Equal(t, uint64(1077), trips[0].Scan)
	none, err := b.Find(context.Background(), live.Question{}, time.Now().Add(time.Hour), time.Time{})
	require.NoError(t, err)
	require.Empty(t, none)
}

func TestKeptRunTurnsAgainAlike(t *testing.T) {
	path, _ := kept(t)
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	runs, err := b.Runs()
	require.NoError(t, err)
	require.Len(t, runs, 1)
	require.Equal(t, uint64(1577), runs[0].Scans())
	s, c := livetest.Site(2)
	names := &live.Names{Site: s, Config: c, Period: livetest.Period}
	parting, err := runs[0].Again(names)
	require.NoError(t, err)
	require.False(t, parting.Parts, "%+v", parting)
	// Another logic parts from it where it must: at the first moment that the
	// longer settle time shows.
	c.Channels[1].SettleScans = 60
	require.NoError(t, c.Compile())
	parting, err = runs[0].Again(names)
	require.NoError(t, err)
	require.True(t, parting.Parts)
	require.Equal(t, uint64(49), parting.Scan)
}

func alter(t *testing.T, path, text string, args ...any) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	got, err := db.Exec(text, args...)
	require.NoError(t, err)
	n, err := got.RowsAffected()
	require.NoError(t, err)
	require.Positive(t, n, "nothing was altered")
	require.NoError(t, db.Close())
}

func TestEveryAlterationIsFound(t *testing.T) {
	for name, text := range map[string]string{
		"a word":           `UPDATE record SET body = replace(body, 'bond_1', 'bond_2') WHERE kind = 'event' AND body LIKE '%tripped%'`,
		"a time":           `UPDATE record SET wall = wall + 1 WHERE seq = 9`,
		"a record less":    `DELETE FROM record WHERE seq = 7`,
		"the last record":  `DELETE FROM record WHERE seq = (SELECT max(seq) FROM record)`,
		"a seal":           `UPDATE record SET hash = zeroblob(32) WHERE seq = 5`,
		"the head":         `UPDATE head SET last = last - 1`,
		"the index":        `DELETE FROM mention WHERE seq = (SELECT max(seq) FROM mention)`,
		"two changed over": `UPDATE record SET scan = scan + 1 WHERE seq IN (3, 4)`,
	} {
		t.Run(name, func(t *testing.T) {
			path, _ := kept(t)
			alter(t, path, text)
			require.NotEmpty(t, check(t, path).Findings)
			if name != "the index" {
				_, err := journal.Open(path, head, 0)
				require.ErrorAs(t, err, new(journal.Damage), "a damaged journal is not written on")
			}
		})
	}
}

func TestFlippedBytesAreSaid(t *testing.T) {
	path, _ := kept(t)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(1, 2))
	found := 0
	for range 60 {
		at := random.IntN(len(whole))
		torn := append([]byte(nil), whole...)
		torn[at] ^= 1 << random.IntN(8)
		copied := filepath.Join(t.TempDir(), "torn.journal")
		require.NoError(t, os.WriteFile(copied, torn, 0o600))
		b, err := journal.Read(copied)
		if err != nil {
			found++
			continue
		}
		r, err := b.Check()
		require.NoError(t, err)
		if len(r.Findings) > 0 {
			found++
		} else {
			same(t, path, copied, at)
		}
		require.NoError(t, b.Close())
		after, err := os.ReadFile(copied)
		require.NoError(t, err)
		require.Equal(t, torn, after, "looking changed the file")
	}
	require.Greater(t, found, 20)
}

// same demands that two journals hold the same records: the flipped byte was
// one that means nothing.
func same(t *testing.T, a, b string, at int) {
	t.Helper()
	list := func(path string) (all []string) {
		book, err := journal.Read(path)
		require.NoError(t, err)
		defer book.Close()
		require.NoError(t, book.Each(func(r *journal.Record) error {
			all = append(all, fmt.Sprint(r.Seq, r.Wall, r.Kind, r.Scan, string(r.Body)))
			return nil
		}))
		return all
	}
	require.Equal(t, list(a), list(b), "byte %d", at)
}

func TestWhatIsNoJournalIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.txt")
	require.NoError(t, os.WriteFile(path, []byte(strings.Repeat("just notes ", 1000)), 0o600))
	_, err := journal.Open(path, head, 0)
	require.ErrorAs(t, err, new(journal.Damage))
	_, err = journal.Read(filepath.Join(t.TempDir(), "none"))
	require.Error(t, err)
	_, err = journal.Read(t.TempDir())
	require.ErrorContains(t, err, "directory")
}

func TestOneWritesAtATime(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plant.journal")
	j, err := journal.Open(path, head, 0)
	require.NoError(t, err)
	_, err = journal.Open(path, head, 0)
	require.ErrorContains(t, err, "another process")
	b, err := journal.Read(path)
	require.NoError(t, err, "reading meanwhile")
	require.NoError(t, b.Close())
	require.NoError(t, j.Close())
	j, err = journal.Open(path, head, 0)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	require.Equal(t, 2, check(t, path).Sessions)
}

func TestForgettingLeavesAChain(t *testing.T) {
	path, _ := kept(t)
	j, err := journal.Open(path, head, 0)
	require.NoError(t, err)
	n, err := j.Forget(time.Now())
	require.NoError(t, err)
	require.Greater(t, n, uint64(20))
	require.NoError(t, j.Close())
	r := check(t, path)
	require.Empty(t, r.Findings)
	require.Equal(t, n, r.Forgotten)
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	runs, err := b.Runs()
	require.NoError(t, err)
	for _, run := range runs {
		s, c := livetest.Site(2)
		_, err := run.Again(&live.Names{Site: s, Config: c, Period: livetest.Period})
		require.ErrorContains(t, err, "forgotten")
	}
}

// TestMain also is the process that the next test kills.
func TestMain(m *testing.M) {
	if path := os.Getenv("OHMGATE_JOURNAL_VICTIM"); path != "" {
		victim(path)
		return
	}
	os.Exit(m.Run())
}

// victim tells events as fast as it can, each only after the journal has it.
func victim(path string) {
	j, err := journal.Open(path, head, 0)
	if err != nil {
		panic(err)
	}
	o := livetest.Options(2)
	o.Keeper = j
	s, err := live.New(o)
	if err != nil {
		panic(err)
	}
	go func() { _ = s.Run(context.Background()) }()
	go func() {
		for on := true; ; on = !on {
			do := map[bool]string{true: "inject", false: "clear"}[on]
			_ = s.Act(context.Background(), live.Action{Do: do, Fault: "clamp_removed", On: "bond_1"})
		}
	}()
	out := json.NewEncoder(os.Stdout)
	for after := uint64(0); ; {
		_, _, changed := s.Now()
		list := s.Events(after, 1000)
		for i := range list {
			_ = out.Encode(&list[i])
			after = list[i].Seq
		}
		if len(list) == 0 {
			<-changed
		}
	}
}

func TestKilledProcessLosesNothingThatWasTold(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plant.journal")
	for round := range 5 {
		victim := exec.Command(os.Args[0])
		victim.Env = append(os.Environ(), "OHMGATE_JOURNAL_VICTIM="+path)
		pipe, err := victim.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, victim.Start())
		var told []string
		lines := bufio.NewScanner(pipe)
		lines.Buffer(nil, 1<<20)
		stop := time.AfterFunc(20*time.Second, func() { _ = victim.Process.Kill() })
		for lines.Scan() {
			if len(told) == 11 { // it tells: now it may die at any moment
				stop.Reset(time.Duration(100+round*60) * time.Millisecond)
			}
			if json.Valid(lines.Bytes()) {
				told = append(told, lines.Text())
			}
		}
		stop.Stop()
		_ = victim.Wait()
		require.Greater(t, len(told), 10, "round %d told nothing", round)
		r := check(t, path)
		require.Empty(t, r.Findings)
		require.Equal(t, round+1, r.Sessions)
		holds(t, path, told)
	}
}

func holds(t *testing.T, path string, told []string) {
	t.Helper()
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	have := map[string]bool{}
	require.NoError(t, b.Each(func(r *journal.Record) error {
		have[string(r.Body)] = true
		return nil
	}))
	for _, text := range told {
		require.True(t, have[text], "told, but not kept: %s", text)
	}
}

func TestSQLiteItselfAgrees(t *testing.T) {
	sqlite3, err := exec.LookPath("sqlite3")
	if err != nil {
		absent(t, "sqlite3")
	}
	path, _ := kept(t)
	out, err := exec.Command(sqlite3, path, "PRAGMA integrity_check; SELECT count(*) FROM record; SELECT max(seq) FROM record; PRAGMA foreign_key_check;").CombinedOutput()
	require.NoError(t, err, string(out))
	lines := strings.Fields(string(out))
	require.Equal(t, "ok", lines[0])
	require.Equal(t, lines[1], lines[2])
	require.Equal(t, fmt.Sprint(check(t, path).Records), lines[1])
}
