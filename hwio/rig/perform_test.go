package rig_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/hwio/twin"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
)

// quickSite is the demo bench with short times and no decade: two resistors in its place.
const quickSite = `
site: quick
scan: 10 ms
poll: 10 ms
channels:
  bond_1: {part: car_1, measures: clamp-loop, kind: metal, accept: 9 Ω, reject: 10 Ω, open_above: 1 kΩ, over_range: open,
    device_stamp: yes, stale_after: 30 ms, settle: {time: 60 ms, readings: 4, pause: 20 ms},
    patience: {high: 100 ms, open: 0 ms, invalid: 20 ms, missing: 20 ms}, counting: consecutive, longest_doubt: 1 s}
inputs:
  reset_1: {use: button, stale_after: 100 ms}
  ack_1: {use: button, stale_after: 100 ms}
  shut_1: {use: switch, stale_after: 100 ms}
outputs:
  valve_1: {actuator: valve, permissive: bond_1, restart: on-reset, reset: reset_1, press: 0.05..2 s,
    confirm: {closed: shut_1, travel: 300 ms}, output_delay: 0..200 ms}
vessels:
  car_1: {wait: 300 ms, rest: 50 ms, acknowledge: ack_1, press: 0.05..2 s}
streams:
  toluene: {kind: liquid, through: [valve_1], charges: [car_1], run_down: 50 ms}
rig:
  ports: {bus: {device: /dev/nowhere, baud: 115200, frame: 8E1}}
  modules:
    relays: {port: bus, kind: relays, address: 1, turnaround: 2 ms, operate_max: 15 ms, time_out: 600 ms}
    contacts: {port: bus, kind: inputs, address: 2, turnaround: 2 ms}
  points:
    - {name: bond_1, module: relays, point: 0, use: series-break}
    - {name: bond_1, module: relays, point: 1, use: drives, resistor: 0.3 Ω}
    - {name: bond_1, module: relays, point: 2, use: drives, resistor: 30 Ω}
    - {name: reset_1, module: relays, point: 3, use: drives}
    - {name: ack_1, module: relays, point: 4, use: drives}
    - {name: shut_1, module: relays, point: 5, use: drives}
    - {name: valve_1, module: contacts, point: 0, use: reads}
    - {name: reset_1, module: contacts, point: 1, use: loopback}
    - {name: shut_1, module: contacts, point: 2, use: loopback}
    - {name: bond_1, module: contacts, point: 3, use: loopback}
  supply: {module: relays, point: 6}
`

// script is a plant without a simulator: a clamp by the clock, a valve that is shut when it is not energised.
type script struct {
	scan   int
	stamp  uint16
	ends   int
	panics int // scan in which it breaks; 0: never
	told   func(scan int)
}

// The script: clamp on at 0.5 s, reset 0.7..0.85 s, clamp off at 1.1 s and on again at 1.25 s (too early, and after the run-down), a reset in the wait
// at 1.35 s, acknowledge 1.6..1.75 s, reset 1.85..2.0 s, high readings from 2.2 s on.
func (s *script) Next(_ uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	at := s.scan
	s.scan++
	if s.told != nil {
		s.told(at)
	}
	if s.panics != 0 && at == s.panics {
		panic("planted")
	}
	within := func(from, to int) bool { return at >= from && at < to }
	level := func(on bool) interlock.Signal {
		if on {
			return interlock.High
		}
		return interlock.Low
	}
	s.stamp++
	in.Readings[0] = monitor.Reading{Quality: monitor.OverRange, Stamp: s.stamp}
	switch {
	case within(50, 110), within(125, 220):
		in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 300_000, Stamp: s.stamp}
	case at >= 220:
		in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 30_000_000, Stamp: s.stamp}
	}
	in.Signals[0] = level(within(70, 85) || within(135, 150) || within(185, 200))
	in.Signals[1] = level(within(160, 175))
	in.Signals[2] = level(!coils.Energised(0))
	return at < s.ends, nil
}

// trial is one order on one bench.
type trial struct {
	twin  *twinbench.Twin
	order rig.Order
	out   *sink
	book  *sheet.Book
}

// sink is a record in memory.
type sink struct {
	bytes.Buffer
	guard sync.Mutex
	left  int // bytes that fit; negative: the disk is full
}

func (s *sink) Write(data []byte) (int, error) {
	s.guard.Lock()
	defer s.guard.Unlock()
	if s.left -= len(data); s.left < 0 {
		return 0, errors.New("no space left on device")
	}
	return s.Buffer.Write(data)
}

func (s *sink) Close() error { return nil }

func quickMap(t require.TestingT) (*wiring.Map, *interlock.Config) {
	s, problems := site.Parse("quick.yaml", []byte(quickSite))
	require.Nil(t, problems)
	m, problems := wiring.Read(s)
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	return m, logic
}

func newBench(t testing.TB, options twinbench.Options) *trial {
	m, _ := quickMap(t)
	return newBenchOn(t, m, options)
}

// newBenchOn is for tests on a fake clock.
func newBenchOn(t testing.TB, m *wiring.Map, options twinbench.Options) *trial {
	options.InMemory = true
	return openBench(t, m, options)
}

func openBench(t testing.TB, m *wiring.Map, options twinbench.Options) *trial {
	logic, problems := m.Site.Logic()
	require.Nil(t, problems)
	made, err := twinbench.Open(m, options)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, made.Close()) })
	out := &sink{left: 1 << 20}
	return &trial{twin: made, out: out, book: sheet.NewBook(out), order: rig.Order{
		Map: m, Logic: logic, Mode: wiring.Stimulate, Runs: 1, Edges: 16, Seed: 1, Alpha: 0.05, Settings: bench.Settings{Devices: made.Devices, Lines: made.Lines},
		New: func() (loop.Source, error) { return &script{ends: 250}, nil },
	}}
}

// perform carries the order out and demands what holds on every path: the record checks, and where the rig is said to be
// open it is.
func (b *trial) perform(t testing.TB, ctx context.Context) (*rig.Report, []sheet.Sheet) {
	report := rig.Perform(ctx, b.order, b.book)
	if report.RigState == sheet.StateOpen {
		time.Sleep(20 * time.Millisecond)
		require.Zero(t, b.twin.Closed(), "the truth behind %q", report.RigState)
	}
	t.Logf("exit %d, %s, %s", report.Exit, report.RigState, report.Trouble)
	for i := range report.Runs {
		t.Log(texts(report.Runs[i].Steps))
	}
	checked := sheet.Check("record", b.out.Bytes())
	if b.out.Len() > 0 {
		require.Empty(t, checked.Problems)
	}
	return report, checked.Sheets
}

func texts(steps []sheet.Step) string {
	var list []string
	for i := range steps {
		list = append(list, fmt.Sprintf("%.2f %s %s %v %s: %s", steps[i].At, steps[i].Output, steps[i].Change, steps[i].Measured, steps[i].Verdict, steps[i].Text))
	}
	return strings.Join(list, "\n")
}

func TestGoodUnit(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.order.Runs, b.order.Edges = 2, bench.LeastEdges
		report, sheets := b.perform(t, context.Background())
		require.EqualValues(t, 0, report.Exit, "%s\n%v", report.Trouble, report.Runs)
		require.Equal(t, verdict.Shown, report.Verdict)
		require.Len(t, report.Runs, 2)
		require.Len(t, sheets, 2)
		for _, run := range report.Runs {
			require.Len(t, run.Steps, 4, texts(run.Steps))
			require.Contains(t, run.Seen, "bond_1: bonded -> lost")
			require.Contains(t, run.Seen, "bond_1: doubtful -> lost")
			require.Contains(t, run.Seen, "valve_1: tripped -> enabled")
			high := run.Steps[3]
			require.Greater(t, high.Measured.Most, 90.0, "a hundred milliseconds of patience")
		}
		require.Len(t, sheets[0].Head.Instruments, 2)
		require.Contains(t, sheets[0].Head.Instruments[0].Identity, "relays 0..6 answer", "the first sheet is no poorer than the others")
		require.Equal(t, sheets[1].Head.Instruments, sheets[0].Head.Instruments)
		require.NotEqual(t, report.Runs[0].PhaseMillis, report.Runs[1].PhaseMillis)
		require.Len(t, report.Statements, 2)
		require.Contains(t, strings.Join(report.Statements, " "), "in 2 trips none was seen slower")
		for _, check := range report.Checks {
			require.Equal(t, verdict.Shown, check.Verdict, check.Text)
		}
	})
}

func TestWrongUnits(t *testing.T) {
	for name, wanted := range map[string]string{
		"slow": "slower than", "deaf": "", "forgetful": "", "eager": "energised its output while the logic withholds it",
		"welded": "did not follow", "nervous": "sooner than the guaranteed patience",
		"dead": "did not follow: its contact was not made",
	} {
		t.Run(name, func(t *testing.T) {
			hwtest.OnFakeClock(t, func(t *testing.T) {
				b := newBench(t, twinbench.Options{Wrong: name})
				report, sheets := b.perform(t, context.Background())
				require.EqualValues(t, 1, report.Exit, "%s\n%s", report.Trouble, texts(report.Runs[0].Steps))
				require.Equal(t, verdict.Violated, report.Verdict)
				require.Contains(t, texts(report.Runs[0].Steps), wanted)
				require.Equal(t, verdict.Violated, sheets[0].Verdict())
				require.Equal(t, sheet.StateOpen, report.RigState)
			})
		})
	}
	names := twinbench.Wrong()
	require.Len(t, names, 7, "each wrong unit has its row above")
	m, _ := quickMap(t)
	_, err := twinbench.Open(m, twinbench.Options{Wrong: "perfect"})
	require.ErrorContains(t, err, "use one of slow, deaf")
}

func TestRigsThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		options twinbench.Options
		said    string
	}{
		"relays that do not fall": {twinbench.Options{Deaf: true}, "did not let its relays fall"},
		"crossed wires":           {twinbench.Options{Crossed: true}, "wiring self-test"},
	} {
		t.Run(name, func(t *testing.T) {
			hwtest.OnFakeClock(t, func(t *testing.T) {
				b := newBench(t, c.options)
				report, sheets := b.perform(t, context.Background())
				require.EqualValues(t, 5, report.Exit)
				require.Contains(t, report.Trouble, c.said)
				require.Empty(t, report.Runs, "nothing is played on a rig that is wanting")
				require.Equal(t, sheet.StateOpen, report.RigState)
				require.NotNil(t, sheets[0].End)
			})
		})
	}
}

// TestNothingSeenIsNotShown: a self-test in which every relay was only read back shows nothing, and no time is measured.
func TestNothingSeenIsNotShown(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		text := ""
		for _, line := range strings.SplitAfter(quickSite, "\n") {
			if !strings.Contains(line, "use: loopback") {
				text += line
			}
		}
		s, problems := site.Parse("quick.yaml", []byte(text))
		require.Nil(t, problems)
		m, problems := wiring.Read(s)
		require.Nil(t, problems)
		b := newBenchOn(t, m, twinbench.Options{})
		_, err := stimulus.DryRun(m, b.order.Logic, &script{ends: 250}, time.Now())
		require.True(t, wiring.IsInput(err))
		require.ErrorContains(t, err, "no relay has a loop-back input")
		report, _ := b.perform(t, context.Background())
		require.Equal(t, "wiring self-test", report.Checks[1].Name)
		require.Equal(t, verdict.NotShown, report.Checks[1].Verdict)
		require.Len(t, report.Unseen, 7)
		require.EqualValues(t, 5, report.Exit)
		require.True(t, strings.HasPrefix(report.Checks[2].Text, "no relay has a loop-back input"), report.Checks[2].Text)
	})
}

func TestNobodyThere(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.order.Settings = bench.Settings{Devices: map[string]string{"bus": filepath.Join(t.TempDir(), "nothing")}}
		report, sheets := b.perform(t, context.Background())
		require.EqualValues(t, 5, report.Exit)
		require.Equal(t, sheet.StateUnmoved, report.RigState)
		require.Equal(t, sheet.StateUnmoved, sheets[0].State())
	})
}

// atScan has something happen in one scan of the first run.
func (b *trial) atScan(scan int, what func()) {
	b.order.New = func() (loop.Source, error) {
		return &script{ends: 250, told: func(at int) {
			if at == scan {
				what()
			}
		}}, nil
	}
}

func TestPulledPlug(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.atScan(100, func() { _ = b.twin.Hardware.Unplug("bus") })
		report, sheets := b.perform(t, context.Background())
		require.EqualValues(t, 5, report.Exit)
		require.Equal(t, sheet.StateUnknown, report.RigState)
		require.Contains(t, strings.Join(report.Details, " "), "by hand")
		require.Equal(t, sheet.StateUnknown, sheets[0].State())
		require.EqualValues(t, 5, sheets[0].End.Exit)
		require.NotEqual(t, verdict.Shown, report.Verdict)
	})
}

// TestUnpluggedInEveryPhase: wherever the plug is pulled, the record has its end, nothing is shown, and nobody is told that
// relays are open that are not.
func TestUnpluggedInEveryPhase(t *testing.T) {
	for _, phase := range []string{"looking", "wiring", "loop-back", "silence", "run 1", "release"} {
		t.Run(phase, func(t *testing.T) {
			hwtest.OnFakeClock(t, func(t *testing.T) {
				b := newBench(t, twinbench.Options{})
				unplug := func() { _ = b.twin.Hardware.Unplug("bus") }
				b.order.Progress = func(text string) {
					switch {
					case !strings.HasPrefix(text, phase):
					case phase == "looking": // before the line is opened
						unplug()
					default:
						time.AfterFunc(60*time.Millisecond, unplug)
					}
				}
				if phase == "release" {
					b.atScan(250, unplug)
				}
				report, sheets := b.perform(t, context.Background())
				require.EqualValues(t, 5, report.Exit, report.Trouble)
				require.NotEqual(t, verdict.Shown, report.Verdict)
				wanted := sheet.StateUnknown
				if phase == "looking" {
					wanted = sheet.StateUnmoved
				}
				require.Equal(t, wanted, report.RigState)
				require.NotNil(t, sheets[0].End)
				require.Equal(t, wanted, sheets[0].State())
				time.Sleep(time.Second)
				require.Zero(t, b.twin.Closed(), "the module's own time-out")
			})
		})
	}
}

func TestPlugPutBack(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.atScan(100, func() {
			_ = b.twin.Hardware.Unplug("bus")
			time.AfterFunc(400*time.Millisecond, func() { _ = b.twin.Hardware.Plug("bus") })
		})
		report, _ := b.perform(t, context.Background())
		require.EqualValues(t, 5, report.Exit, "the run is lost all the same")
		require.Equal(t, sheet.StateOpen, report.RigState, "but the relays were found and read back")
	})
}

func TestSignalInTheMiddle(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		ctx, cancel := context.WithCancelCause(context.Background())
		defer cancel(nil)
		b.atScan(130, func() { cancel(errors.New("interrupted by signal X")) })
		report, sheets := b.perform(t, ctx)
		require.EqualValues(t, 3, report.Exit)
		require.Equal(t, "interrupted by signal X", report.Trouble)
		require.Equal(t, sheet.StateOpen, report.RigState)
		require.Equal(t, verdict.NotShown, sheets[0].Verdict())
		require.Len(t, report.Runs[0].Steps, 2, "what was seen before stays: %s", texts(report.Runs[0].Steps))
	})
}

func TestPanicInTheMiddle(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.order.New = func() (loop.Source, error) { return &script{ends: 250, panics: 100}, nil }
		report, _ := b.perform(t, context.Background())
		require.EqualValues(t, 70, report.Exit)
		require.Contains(t, report.Trouble, "planted")
		require.Equal(t, sheet.StateOpen, report.RigState)
	})
}

func TestFullDisk(t *testing.T) {
	t.Run("before anything moves", func(t *testing.T) {
		hwtest.OnFakeClock(t, func(t *testing.T) {
			b := newBench(t, twinbench.Options{})
			b.out.left = 10
			report, _ := b.perform(t, context.Background())
			require.EqualValues(t, 5, report.Exit)
			require.Equal(t, sheet.StateUnmoved, report.RigState)
			require.Contains(t, report.Trouble, "no space left")
			for _, change := range b.twin.Hardware.History() {
				require.NotEqual(t, "coil", change.Kind, "a relay moved without a record")
			}
		})
	})
	t.Run("in the middle", func(t *testing.T) {
		hwtest.OnFakeClock(t, func(t *testing.T) {
			b := newBench(t, twinbench.Options{})
			b.atScan(100, func() {
				b.out.guard.Lock()
				defer b.out.guard.Unlock()
				b.out.left = 0
			})
			report, sheets := b.perform(t, context.Background())
			require.EqualValues(t, 5, report.Exit)
			require.Equal(t, sheet.StateOpen, report.RigState)
			require.Contains(t, report.Trouble, "no space left")
			require.Nil(t, sheets[0].End, "and the record shows that it has no end")
		})
	})
}

// TestMisbehavingLine: lost, late, spoilt and noisy answers cost time and certainty, never the truth: a good unit is never
// found violated because of them.
func TestMisbehavingLine(t *testing.T) {
	exits := map[verdict.Exit]int{}
	for seed := range uint64(40) {
		hwtest.OnFakeClock(t, func(t *testing.T) {
			behaviour := twin.Behaviour{Jitter: 2 * time.Millisecond, Turnaround: time.Millisecond, Seed: seed, LoseAnswer: 6, FlipBit: 6, Noise: 10}
			if seed%2 == 1 {
				behaviour.LateAnswer, behaviour.LateBy = 6, time.Duration(seed)*10*time.Millisecond
			}
			b := newBench(t, twinbench.Options{Behaviour: behaviour})
			report, _ := b.perform(t, context.Background())
			exits[report.Exit]++
			require.NotEqualValues(t, 1, report.Exit, "seed %d: %v", seed, report.Runs)
			if report.RigState == sheet.StateUnmoved { // nobody answered in the beginning
				require.Empty(t, b.twin.Hardware.History(), "seed %d", seed)
			}
			for _, run := range report.Runs {
				for _, step := range run.Steps {
					require.NotEqual(t, sheet.Violated, step.Verdict, "seed %d: %s", seed, texts(run.Steps))
				}
			}
		})
	}
	t.Log("exit codes and how often: ", exits)
	require.Greater(t, exits[verdict.ExitIncomplete], 5, "some of them were judged")
}

// TestSilentModule: an input module that stops answering for good ends the run.
func TestSilentModule(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.atScan(60, func() { _ = b.twin.Hardware.Behave("bus", twin.Behaviour{LoseQuestion: 1000}) })
		report, _ := b.perform(t, context.Background())
		require.EqualValues(t, 5, report.Exit)
		require.Equal(t, sheet.StateUnknown, report.RigState)
	})
}

func TestRehearsalFindsWhatTheBenchCannotShow(t *testing.T) {
	m, logic := quickMap(t)
	demand, err := stimulus.DryRun(m, logic, &script{ends: 250}, time.Now())
	require.NoError(t, err)
	require.Equal(t, 4, demand.Changes)
	require.Equal(t, uint64(250), demand.Scans)
	for said, spoil := range map[string]func(in *interlock.Inputs){
		"bad quality":          func(in *interlock.Inputs) { in.Readings[0].Quality = monitor.Bad },
		"no resistance":        func(in *interlock.Inputs) { in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: -5} },
		"no resistor is wired": func(in *interlock.Inputs) { in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 9_500_000} },
		"missing or faulty":    func(in *interlock.Inputs) { in.Signals[0] = interlock.NoSignal },
		"overrun":              func(in *interlock.Inputs) { in.Overrun = true },
		"always there":         func(in *interlock.Inputs) { in.Readings[0].Stamp = 1 },
	} {
		_, err := stimulus.DryRun(m, logic, &spoilt{script{ends: 250}, spoil}, time.Now())
		require.True(t, wiring.IsInput(err), said)
		var problems site.Problems
		require.ErrorAs(t, err, &problems)
		require.Contains(t, problems[0].Text, said)
	}
	s, problems := site.Parse("q.yaml", []byte(strings.Replace(quickSite, "    - {name: ack_1, module: relays, point: 4, use: drives}\n", "", 1)))
	require.Nil(t, problems)
	m, problems = wiring.Read(s)
	require.Nil(t, problems)
	_, err = stimulus.DryRun(m, logic, &script{ends: 250}, time.Now())
	require.ErrorContains(t, err, `"ack_1"`)
}

// spoilt is a script with one thing in scan 100 and the next nine that no bench can show.
type spoilt struct {
	script
	spoil func(in *interlock.Inputs)
}

func (s *spoilt) Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	more, err := s.script.Next(scan, coils, in)
	in.Overrun = false
	if scan >= 100 && scan < 110 {
		s.spoil(in)
	}
	return more, err
}
