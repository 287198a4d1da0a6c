package sim

import (
	"fmt"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace"
)

// Options of one run.
type Options struct {
	Seed      *uint64        // instead of the scenario's
	Recorders []trace.Writer // every scan is written to each
	Tool      string         // version and build, for records
	// EveryScan steps the whole site in every scan, also where nothing can
	// change. The result is the same.
	EveryScan bool
}

// Result is one run of one scenario.
type Result struct {
	Scenario *Scenario
	Site     *site.Site
	Seed     uint64
	Period   time.Duration
	Prelude  uint64 // scans before the scenario's time began
	Scans    uint64 // scans of the scenario itself
	Told     []Told
	Outcomes []Outcome
	Margins  []Margin // the tightest of each kind, tightest first
	Final    []Final  // what every output is at the end
}

// Verdict is the worst of all expectations: violated, then nothing checked. A
// scenario without any has checked nothing.
func (r *Result) Verdict() verdict.Verdict {
	return verdict.Over(r.Outcomes, func(o *Outcome) verdict.Verdict { return o.Verdict })
}

// Run plays a scenario on a site. The problems are of the input: a beginning
// that this site can not reach.
func Run(s *site.Site, sc *Scenario, o Options) (*Result, error) {
	logic, problems := s.Logic()
	if problems != nil {
		return nil, problems
	}
	seed := sc.Seed
	if o.Seed != nil {
		seed = *o.Seed
	}
	n := newNames(s)
	p := NewPlant(s, logic, seed, 0)
	zero := p.prelude(sc, n)
	length := sc.Lasts.ceil(p.Period)
	p.end = zero + length
	p.schedule(sc, zero, n)
	p.start()
	w := newWatch(s, sc, p, n, zero, length)
	if err := w.record(o, seed); err != nil {
		return nil, err
	}
	turns := loop.New(logic)
	turns.Skim = !o.EveryScan
	if err := turns.Run(p, w); err != nil {
		return nil, err
	}
	for _, recorder := range o.Recorders {
		if err := recorder.Close(); err != nil {
			return nil, err
		}
	}
	return w.result(seed), nil
}

// watch follows a run: it tells the story, checks what must follow, keeps the
// margins and feeds the recorders.
type watch struct {
	site     *site.Site
	scenario *Scenario
	plant    *Plant
	names    *names
	zero     uint64 // scan in which the scenario begins
	length   uint64

	view     view
	story    story
	checkers []*checker
	margins  margins
	writers  []trace.Writer
	row      trace.Row
	firstDid uint64 // scan of the first thing that the scenario did
	final    []Final
}

func newWatch(s *site.Site, sc *Scenario, p *Plant, n *names, zero, length uint64) *watch {
	w := &watch{site: s, scenario: sc, plant: p, names: n, zero: zero, length: length, firstDid: never}
	w.story = story{zero: zero}
	for i := range sc.Expect {
		w.checkers = append(w.checkers, newChecker(&sc.Expect[i], p, n, max(length, 1)-1))
	}
	w.margins = newMargins(p)
	p.told = w.story.plant
	for i := range p.agenda {
		if p.agenda[i].scan >= zero && len(sc.Steps)+len(sc.Faults) > 0 {
			w.firstDid = min(w.firstDid, p.agenda[i].scan-zero)
		}
	}
	if sc.Begin == Running {
		w.firstDid = 0
	}
	w.view.plant = p
	return w
}

// record opens the recorders.
func (w *watch) record(o Options, seed uint64) error {
	if len(o.Recorders) == 0 {
		return nil
	}
	n := &w.plant.called
	h := trace.Header{
		Site: w.site.Name, SiteHash: w.site.Hash, Scenario: w.scenario.Name, ScenarioHash: w.scenario.Hash,
		Tool: o.Tool, Period: w.plant.Period, Simulated: true,
		Channels: n.Channels, Inputs: n.Inputs, Outputs: n.Outputs, Vessels: n.Vessels, Streams: n.Streams, Bypasses: n.Bypasses,
	}
	w.writers = o.Recorders
	for _, recorder := range w.writers {
		if err := recorder.Begin(&h); err != nil {
			return err
		}
	}
	return nil
}

// Watch is one scan.
func (w *watch) Watch(t *loop.Turn) error {
	if len(w.writers) > 0 {
		if err := w.write(t); err != nil {
			return err
		}
	}
	if t.Scan < w.zero {
		return nil
	}
	scan := t.Scan - w.zero
	w.view.Turn = t
	if scan == 0 {
		if err := w.begun(t); err != nil {
			return err
		}
	}
	if !t.Quiet || w.story.open != 0 {
		w.story.logic(&w.view, scan)
		w.margins.watch(&w.view, scan)
	}
	for _, c := range w.checkers {
		c.watch(&w.view, scan)
	}
	if scan+1 == w.length {
		w.final = final(&w.view)
	}
	return nil
}

// begun complains where the beginning that the scenario asks for was not
// reached.
func (w *watch) begun(t *loop.Turn) error {
	if w.scenario.Begin == AtPowerUp {
		return nil
	}
	except := map[string]bool{}
	for _, name := range w.scenario.Except {
		except[name] = true
	}
	for i := range t.State.Vessels {
		if !t.State.Vessels[i].Clear {
			return w.unreached(w.site.Vessels[i].Name + " " + tell.Charged.String())
		}
	}
	for i := range t.State.Outputs {
		if w.scenario.Begin == Running && !except[w.site.Outputs[i].Name] && t.State.Outputs[i].Mode != interlock.Enabled {
			return w.unreached(w.view.scene().Output(i))
		}
	}
	return nil
}

func (w *watch) unreached(why string) error {
	return site.Problems{w.scenario.problem(w.scenario.BeginPlace,
		fmt.Sprintf("the site does not get to \"begin: %s\": %s", w.scenario.Begin, why),
		"begin at power-up, or name what is left alone in except:, or what is set besides in with:")}
}

func (w *watch) write(t *loop.Turn) error {
	w.row = trace.Row{
		Scan: t.Scan, Time: time.Duration(t.Scan) * w.plant.Period, PowerUp: w.plant.PowerUp(t.Scan) || t.Scan == 0,
		In: t.In, State: t.State, Decision: t.Decision, Truth: w.plant.Truth(),
	}
	for _, recorder := range w.writers {
		if err := recorder.Write(&w.row); err != nil {
			return err
		}
	}
	return nil
}

// result collects what the run has shown.
func (w *watch) result(seed uint64) *Result {
	r := &Result{
		Scenario: w.scenario, Site: w.site, Seed: seed, Period: w.plant.Period, Prelude: w.zero, Scans: w.length,
		Told: w.story.told, Final: w.final,
	}
	for _, c := range w.checkers {
		c.finish(max(w.length, 1)-1, w.firstDid <= c.to)
		r.Outcomes = append(r.Outcomes, c.outcome)
	}
	r.Margins = w.margins.all(r.Outcomes)
	return r
}
