package runs

import (
	"fmt"
	"sort"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Run is a run of the real logic on the whole site, replayed before it is shown.
type Run struct {
	Sentence string    `json:"sentence"`
	Lines    []string  `json:"lines"` // at most twelve
	Scans    uint64    `json:"scans"`
	Faults   int       `json:"faults"`
	Slice    []string  `json:"cause_slice,omitempty"` // which reading, counter and rule moved the output
	Steps    []RunStep `json:"steps"`

	// Expect is what the run claims, as an expectation of a scenario file.
	Expect string `json:"expect,omitempty"`

	Property string `json:"property"`
	Output   string `json:"output"`
	at       uint64 `json:"-"` // the scan that matters
}

// RunStep is one thing that a channel or an input shows for some scans.
type RunStep struct {
	At    uint64 `json:"at"`
	For   uint64 `json:"for"`
	On    string `json:"on"`
	Shows string `json:"shows"`
}

// MaxLines is how long a run may be told.
const MaxLines = 12

// Recorder keeps what a driver fed the logic, as stretches of the same.
type Recorder struct {
	model  *model.Model
	now    map[string]*RunStep
	steps  []RunStep
	Scans  uint64
	events []told
}

type told struct {
	scan uint64
	text string
}

func NewRecorder(m *model.Model) *Recorder { return &Recorder{model: m, now: map[string]*RunStep{}} }

func (r *Recorder) CopyOf() *Recorder {
	c := &Recorder{model: r.model, now: map[string]*RunStep{}, Scans: r.Scans}
	c.steps = append(c.steps, r.steps...)
	c.events = append(c.events, r.events...)
	for name, step := range r.now {
		same := *step
		c.now[name] = &same
	}
	return c
}

// Turn lets the driver take one scan and keeps what it fed and what followed.
func (r *Recorder) Turn(d *Driver) {
	before := interlock.NewState(d.Config)
	if !d.Supply { // else all is forgotten before this scan
		before.CopyFrom(d.State)
	}
	for i := range d.In.Readings {
		r.show(r.model.Names.Channels[i], newsOf(&d.Config.Channels[i], &before.Channels[i].State, d.In.Readings[i]))
	}
	for i, s := range d.In.Signals {
		r.show(r.model.Names.Inputs[i], [...]string{"nothing", "unknown", "0", "1"}[s])
	}
	if d.In.Overrun {
		r.steps = append(r.steps, RunStep{r.Scans, 1, "logic", "overrun"})
	}
	if d.Supply {
		r.steps = append(r.steps, RunStep{r.Scans, 1, "logic", "restart"})
	}
	d.Turn()
	r.tell(before, d)
	r.Scans++
}

func newsOf(c *interlock.Channel, s *monitor.State, in monitor.Reading) string {
	news := monitor.Hear(&c.Config, s, in)
	if news == monitor.Missing && in.Quality != monitor.Absent {
		return "repeated"
	}
	return news.String()
}

func (r *Recorder) show(on, what string) {
	step := r.now[on]
	if step != nil && step.Shows == what {
		step.For++
		return
	}
	if step != nil {
		r.steps = append(r.steps, *step)
	}
	r.now[on] = &RunStep{r.Scans, 1, on, what}
}

// tell keeps what people would be told of: phases, outputs, waits. It is read off
// the state, so that a run of a planted mistake that tells nothing is told too.
func (r *Recorder) tell(before *interlock.State, d *Driver) {
	for i := range d.State.Channels {
		if a, b := before.Channels[i].Phase, d.State.Channels[i].Phase; a != b {
			r.say(interlock.Event{Kind: interlock.PhaseChanged, Subject: i, From: uint32(a), To: uint32(b)})
		}
	}
	for i := range d.State.Vessels {
		a, b := &before.Vessels[i], &d.State.Vessels[i]
		if a.Clear != b.Clear {
			r.say(interlock.Event{Kind: map[bool]interlock.Kind{true: interlock.WaitOver, false: interlock.MayBeCharged}[b.Clear], Subject: i})
		}
		if !a.Early && b.Early {
			r.say(interlock.Event{Kind: interlock.ReconnectedEarly, Subject: i})
		}
	}
	for i := range d.State.Outputs {
		a, b := before.Outputs[i], d.State.Outputs[i]
		if a.Mode != b.Mode {
			r.events = append(r.events, told{r.Scans, r.model.Names.Outputs[i] + " " + b.Mode.String()})
		}
		if a.Unconfirmed != b.Unconfirmed && b.Unconfirmed != 0 {
			r.say(interlock.Event{Kind: interlock.ActuatorUnconfirmed, Subject: i})
		}
	}
}

func (r *Recorder) say(e interlock.Event) {
	r.events = append(r.events, told{r.Scans, r.model.Names.Brief(&e)})
}

// Finish makes a Run of what was recorded.
func (r *Recorder) Finish(sentence string, faults int) *Run {
	run := &Run{Sentence: sentence, Scans: r.Scans, Faults: faults, Steps: append([]RunStep(nil), r.steps...), at: r.Scans - 1}
	for _, step := range r.now {
		run.Steps = append(run.Steps, *step)
	}
	sort.Slice(run.Steps, func(i, j int) bool {
		a, b := run.Steps[i], run.Steps[j]
		return a.At < b.At || a.At == b.At && a.On < b.On
	})
	run.Lines = r.lines()
	return run
}

// lines tells the run by its events, the last twelve scans with something to
// tell; events of one scan share a line.
func (r *Recorder) lines() []string {
	var lines []string
	for i := 0; i < len(r.events); {
		scan := r.events[i].scan
		var texts []string
		for ; i < len(r.events) && r.events[i].scan == scan; i++ {
			texts = append(texts, r.events[i].text)
		}
		if len(texts) > 4 {
			texts = append(texts[:4], fmt.Sprintf("and %d more", len(texts)-4))
		}
		lines = append(lines, fmt.Sprintf("scan %d: %s", scan, strings.Join(texts, ", ")))
	}
	if len(lines) > MaxLines {
		lines = lines[len(lines)-MaxLines:]
	}
	return lines
}

// Scenario writes the run as a scenario file that simulate replays: every
// reading and every input is set scan by scan, so nothing is left to the plant.
func (r *Run) Scenario(m *model.Model, name string) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# Written by verify for site %s, property %s.\nscenario: %s\ntitle: %q\n", m.Site, r.Property, name, r.Sentence)
	fmt.Fprintf(&b, "lasts: %s\nsteps:\n", model.ScansText(r.Scans))
	for _, s := range r.Steps {
		if s.On == "logic" {
			fmt.Fprintf(&b, "  - {at: %s, do: %s}\n", model.ScansText(s.At), s.Shows)
			continue
		}
		fmt.Fprintf(&b, "  - {at: %s, read: %s, on: %s, for: %s}\n", model.ScansText(s.At), s.Shows, s.On, model.ScansText(s.For))
	}
	if r.Expect != "" {
		fmt.Fprintf(&b, "expect:\n  - %s\n", r.Expect)
	}
	return []byte(b.String())
}
