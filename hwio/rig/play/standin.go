package play

import (
	"context"
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/monitor"
)

// StandIn is one run in which this program's logic stands in for the unit: real readings in, relays out.
type StandIn struct {
	Bench    *bench.Bench
	Logic    *interlock.Config
	Watchers []loop.Watcher
	Scans    uint64 // to play
	Drive    bool   // false: only listen, move nothing

	Steps    []sheet.Step
	Heard    []string // listen: what moved, in words
	Seen     map[Transition]bool
	Missed   int // readings and inputs that did not come
	Overruns int
	begun    port.Stamp
	polled   port.Stamp // when this scan's first question was on the wire
	late     bool
	coils    interlock.CoilSet
	signals  []interlock.Signal
	phases   []monitor.Phase
	modes    []interlock.Mode
	meters   []*bench.MeterReader // per channel; nil: it is read otherwise
	ctx      context.Context
}

// Run turns the logic scan by scan in real time.
func (s *StandIn) Run(ctx context.Context) error {
	s.ctx, s.Seen = ctx, map[Transition]bool{}
	s.signals = make([]interlock.Signal, len(s.Logic.Inputs))
	s.phases, s.modes = make([]monitor.Phase, len(s.Logic.Channels)), make([]interlock.Mode, len(s.Logic.Outputs))
	s.readMeters()
	defer s.endMeters()
	s.begun = port.Now()
	return loop.New(s.Logic).Run(s, append([]loop.Watcher{s}, s.Watchers...)...)
}

// Next waits for the scan and reads everything once. What does not come in time is missing, never the last value again.
func (s *StandIn) Next(scan uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if scan >= s.Scans {
		return false, nil
	}
	due := s.begun.Add(time.Duration(scan) * s.Bench.Map.Site.Period.Max)
	if wait := due.Sub(port.Now()); wait > 0 && !bench.Pause(s.ctx, wait) {
		return false, s.ctx.Err()
	}
	if err := s.ctx.Err(); err != nil {
		return false, err
	}
	in.Overrun, s.late = s.late, false
	if in.Overrun {
		s.Overruns++
	}
	clear(in.Readings)
	clear(in.Signals)
	s.polled = 0
	if err := s.readInputs(in); err != nil {
		return false, err
	}
	return true, s.readChannels(in)
}

func (s *StandIn) readInputs(in *interlock.Inputs) error {
	for _, module := range s.Bench.ModulesOf(wiring.KindInputs) {
		bits, times, err := s.Bench.ReadInputs(module)
		if bench.Fatal(err) {
			return bench.Lost(err)
		}
		if err != nil {
			s.Missed++
			continue
		}
		if s.polled == 0 {
			s.polled = times.RequestEnd
		}
		for i, t := range s.Bench.Map.Hears {
			if t == nil || t.Module != module {
				continue
			}
			in.Signals[i] = interlock.Low
			if bits[t.Point] {
				in.Signals[i] = interlock.High
			}
		}
		for output, t := range s.Bench.Map.Contacts {
			if t != nil && t.Module == module && !s.Drive && bits[t.Point] != s.coils.Energised(output) {
				s.coils ^= 1 << output
				s.heard(s.Bench.Map.Site.Outputs[output].Name, level(bits[t.Point]))
			}
		}
	}
	return nil
}

func (s *StandIn) readChannels(in *interlock.Inputs) error {
	for _, module := range s.Bench.ModulesOf(wiring.KindResistance) {
		words, times, err := s.Bench.ReadRegisters(module)
		if bench.Fatal(err) {
			return bench.Lost(err)
		}
		if err != nil {
			s.Missed++
			continue
		}
		if s.polled == 0 {
			s.polled = times.RequestEnd
		}
		for i := range s.Bench.Map.Channels {
			if w := &s.Bench.Map.Channels[i]; w.Reads != nil && w.Reads.Module == module {
				in.Readings[i] = wiring.FromRegisters(&s.Bench.Map.Site.Channels[i], w.ReadUnit, words[w.Reads.Point:])
			}
		}
	}
	for i, meter := range s.meters {
		if meter == nil {
			continue
		}
		reading, fresh, err := meter.Take()
		if err != nil {
			return err
		}
		if fresh {
			in.Readings[i] = reading
		}
	}
	return nil
}

func (s *StandIn) heard(name, now string) {
	s.Heard = append(s.Heard, fmt.Sprintf("%.3f s %s is %s", port.Now().Sub(s.begun).Seconds(), name, now))
}

// Watch does the duties of a decision in their order: write the outputs, then tell.
func (s *StandIn) Watch(t *loop.Turn) error {
	if s.Drive {
		if err := s.write(t); err != nil {
			return err
		}
	}
	s.note(t)
	end := s.begun.Add(time.Duration(t.Scan+1) * s.Bench.Map.Site.Period.Max)
	s.late = port.Now() > end
	return nil
}

func (s *StandIn) write(t *loop.Turn) error {
	wanted := make([][]bool, len(s.Bench.Sizes()))
	for module, size := range s.Bench.Sizes() {
		wanted[module] = make([]bool, size)
	}
	for output, relay := range s.Bench.Map.Moves {
		if relay != nil {
			wanted[relay.Module][relay.Point] = t.Decision.Coils.Energised(output)
		}
	}
	for _, module := range s.Bench.ModulesOf(wiring.KindRelays) {
		if slices.Equal(s.Bench.Commanded(module), wanted[module]) {
			if err := s.Bench.KeepAlive(module); err != nil {
				return err
			}
			continue
		}
		when, err := s.Bench.WriteRelays(module, wanted[module])
		if err != nil {
			return err
		}
		s.judge(t, module, when)
	}
	return nil
}

// judge holds the time from the scan's first question to the contact against one scan and the relay's own time.
func (s *StandIn) judge(t *loop.Turn, module int, when interval.Moment) {
	m := s.Bench.Map
	bound := judge.Bound{
		Span:   interval.Span{Most: m.Site.Period.Max + m.OperateMax(module)},
		Source: fmt.Sprintf("one scan of %v and operate_max %v", m.Site.Period.Max, m.OperateMax(module)),
	}
	for output, relay := range m.Moves {
		on := t.Decision.Coils.Energised(output)
		if relay == nil || relay.Module != module || on == s.coils.Energised(output) {
			continue
		}
		took := interval.Took(interval.Moment{From: s.polled, To: s.polled}, when, 0)
		step := sheet.Step{
			Output: m.Site.Outputs[output].Name, Change: sheet.ChangeTo(on), At: float64(t.Scan) * m.Site.Period.Max.Seconds(),
			Stimulus: "decided in this scan", Measured: took.Millis(), Bound: bound.Millis(), Source: bound.Source,
		}
		step.Verdict, step.Text = bound.Judge(took)
		s.Steps = append(s.Steps, step)
		s.coils ^= 1 << output
	}
}

// note keeps the transitions seen, and in listen mode what moved.
func (s *StandIn) note(t *loop.Turn) {
	m := s.Bench.Map
	for i := range s.phases {
		if phase := t.State.Channels[i].Phase; phase != s.phases[i] && m.Channels[i].Reads != nil {
			s.Seen[Transition{m.Site.Channels[i].Name, s.phases[i].String(), phase.String()}] = true
			s.phases[i] = phase
		}
	}
	for i, relay := range m.Moves {
		if mode := t.State.Outputs[i].Mode; mode != s.modes[i] && relay != nil {
			s.Seen[Transition{m.Site.Outputs[i].Name, s.modes[i].String(), mode.String()}] = true
			s.modes[i] = mode
		}
	}
	for i, signal := range t.In.Signals {
		if signal != s.signals[i] && signal != interlock.NoSignal && !s.Drive {
			s.heard(m.Site.Inputs[i].Name, level(signal == interlock.High))
		}
		s.signals[i] = signal
	}
}

// readMeters begins to read every meter that a channel is read from.
func (s *StandIn) readMeters() {
	s.meters = make([]*bench.MeterReader, len(s.Logic.Channels))
	for i := range s.Bench.Map.Channels {
		if w := &s.Bench.Map.Channels[i]; w.Reads != nil && s.Bench.HasInstrument(w.Reads.Module) {
			s.meters[i] = s.Bench.ReadMeter(w.Reads.Module)
		}
	}
}

// endMeters ends that, and tells how long a reading took where the site allows for less.
func (s *StandIn) endMeters() {
	for i, r := range s.meters {
		if r == nil {
			continue
		}
		missed, longest := r.End()
		s.Missed += missed
		if c := &s.Bench.Map.Site.Channels[i]; longest > c.Aperture {
			s.Heard = append(s.Heard, fmt.Sprintf("a reading of %s took up to %.0f ms, and the site allows for an aperture of %.0f ms: a loss is seen that much later", c.Name, interval.InMillis(longest), interval.InMillis(c.Aperture)))
		}
	}
}
