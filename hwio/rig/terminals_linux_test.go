package rig_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/internal/pseudo"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

const victim = "OHMGATE_RIG_VICTIM" // folder of a twin's lines: be a rig on it, and be killed

func TestMain(m *testing.M) {
	if folder := os.Getenv(victim); folder != "" {
		beVictim(folder)
		return
	}
	// These tests wait for relays and time-outs nearly all of their time: sixteen at once load a processor by a fifth.
	flag.Parse()
	if err := flag.Set("test.parallel", "16"); err != nil {
		panic(err)
	}
	os.Exit(pseudo.Main(m.Run))
}

// beVictim is a rig on somebody else's twin, until it is killed.
func beVictim(folder string) {
	s, problems := site.Parse("quick.yaml", []byte(quickSite))
	if problems != nil {
		panic(problems)
	}
	m, problems := wiring.Read(s)
	if problems != nil {
		panic(problems)
	}
	logic, _ := s.Logic()
	book, _, err := sheet.Open(filepath.Join(folder, "record"))
	if err != nil {
		panic(err)
	}
	rig.Perform(context.Background(), rig.Order{
		Map: m, Logic: logic, Mode: wiring.Stimulate, Runs: 1, Edges: 4, Alpha: 0.05, Settings: bench.Settings{Devices: map[string]string{"bus": filepath.Join(folder, "bus")}},
		New: func() (loop.Source, error) {
			return &script{ends: 10_000, told: func(scan int) {
				if scan == 90 {
					fmt.Println("in the middle")
				}
			}}, nil
		},
	}, book)
}

// tolerated is how late the machine may be for a run to be what it is on an idle one: a scan of the quick site.
const tolerated = 10 * time.Millisecond

// onTerminals is the quick bench on pseudo-terminals, in real time.
func onTerminals(t testing.TB, options twinbench.Options) *trial {
	m, _ := quickMap(t)
	return openBench(t, m, options)
}

// TestGoodUnitOnTerminals: what is tested on a fake clock holds on this system's lines and clock too.
func TestGoodUnitOnTerminals(t *testing.T) {
	t.Parallel()
	hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
		b := onTerminals(t, twinbench.Options{})
		b.order.Edges = bench.LeastEdges
		report, _ := b.perform(t, context.Background())
		require.EqualValues(t, 0, report.Exit, "%s\n%v", report.Trouble, report.Runs)
		require.Len(t, report.Runs[0].Steps, 4, texts(report.Runs[0].Steps))
	})
}

// TestSlowUnitOnTerminals is found too slow.
func TestSlowUnitOnTerminals(t *testing.T) {
	t.Parallel()
	hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
		report, _ := onTerminals(t, twinbench.Options{Wrong: "slow"}).perform(t, context.Background())
		require.EqualValues(t, 1, report.Exit, "%s\n%v", report.Trouble, report.Runs)
	})
}

// TestKillNine: nothing of the program is left to open the relays. The module's own time-out does, which was proved before;
// and the record shows that it breaks off.
func TestKillNine(t *testing.T) {
	t.Parallel()
	hwtest.Repeat(t, tolerated, killNine)
}

func killNine(t *hwtest.Trial) {
	folder, err := os.MkdirTemp("", "victim-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	b := onTerminals(t, twinbench.Options{Directory: folder})
	command := exec.Command(os.Args[0], "-test.run=^$")
	command.Env = append(os.Environ(), victim+"="+folder)
	output, err := command.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, command.Start())
	t.Cleanup(func() {
		_ = command.Process.Kill()
		_ = command.Wait()
	})
	said, err := bufio.NewReader(output).ReadString('\n')
	require.NoError(t, err, "it ended before the middle of its run")
	require.Equal(t, "in the middle\n", said)
	require.Positive(t, b.twin.Closed(), "relays are closed in the middle of a run")
	require.NoError(t, command.Process.Kill())
	_ = command.Wait()
	b.startAgain(t)
	require.Eventually(t, func() bool { return b.twin.Closed() == 0 }, 30*time.Second, 20*time.Millisecond, "the relays never fell")
	text, err := os.ReadFile(filepath.Join(folder, "record"))
	require.NoError(t, err)
	report := sheet.Check("record", text)
	require.Empty(t, report.Problems)
	require.Equal(t, 1, report.Unended())
	require.Equal(t, sheet.StateUnknown, report.Sheets[0].State())
	require.Equal(t, verdict.NotShown, report.Sheets[0].Verdict())
	book, before, err := sheet.Open(filepath.Join(folder, "record")) // and it may be added to
	require.NoError(t, err)
	require.Len(t, before, 1)
	require.NoError(t, book.Close())
}

// startAgain is the next run right after a killed one: it takes over the lock of the dead, says what it found closed, and opens
// it.
func (b *trial) startAgain(t testing.TB) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	order, out := b.order, &sink{left: 1 << 20}
	order.Progress = func(text string) {
		if strings.HasPrefix(text, "loop-back") {
			cancel()
		}
	}
	report := rig.Perform(ctx, order, sheet.NewBook(out))
	require.EqualValues(t, 3, report.Exit, report.Trouble)
	require.Equal(t, sheet.StateOpen, report.RigState)
	require.Contains(t, report.Checks[0].Text, "found closed, as another program left them")
}
