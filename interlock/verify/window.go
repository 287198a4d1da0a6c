package verify

import (
	"fmt"
	"sync"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// The window is the room between danger and nuisance: the patience must be short
// enough that a lost bond stops the flow in the time available, and long enough
// that the declared disturbance does not trip. Each cell of the map is a site of
// its own, rounded to scans as the real one is, whose channel is searched whole.

// WindowCell is one setting and what is found of it.
type WindowCell struct {
	Period   time.Duration `json:"period_ns"`
	Settle   time.Duration `json:"settle_ns"`
	Patience time.Duration `json:"patience_ns"`
	Found    WindowVerdict `json:"found"`
	Detect   time.Duration `json:"worst_detection_ns"`     // any mixture of bad readings
	Forgives time.Duration `json:"guaranteed_patience_ns"` // anything shorter never trips
	Ready    time.Duration `json:"bond_ns"`                // from the first good reading to bonded, at least
	Says     string        `json:"says,omitempty"`
}

// WindowVerdict is what is found of one setting.
type WindowVerdict string

// What a setting can be found to be.
const (
	WindowShown    WindowVerdict = "shown"
	WindowViolated WindowVerdict = "violated"                 // takes longer than the time available
	WindowTrips    WindowVerdict = "trips on the disturbance" // does not forgive what was declared
	WindowBoth     WindowVerdict = "violated, and trips on the disturbance"
	WindowRefused  WindowVerdict = "refused" // the site could not be loaded
)

// Window is the whole map for one channel.
type Window struct {
	Channel     string        `json:"channel"`
	Output      string        `json:"output"`
	Class       string        `json:"class"`
	Available   time.Duration `json:"available_ns"`
	Disturbance time.Duration `json:"disturbance_ns"`
	From        []string      `json:"from"` // the properties that say so

	Periods    []time.Duration `json:"periods_ns"`
	Settles    []time.Duration `json:"settles_ns"`
	Patiences  []time.Duration `json:"patiences_ns"`
	Cells      []WindowCell    `json:"cells"`
	Configured WindowCell      `json:"configured"`
}

// Cell finds a cell by its numbers.
func (w *Window) Cell(period, settle, patience int) *WindowCell {
	return &w.Cells[(period*len(w.Settles)+settle)*len(w.Patiences)+patience]
}

// Verdict is shown if the setting of the file is; nothing checked where the file
// names neither a time available nor a disturbance.
func (w *Window) Verdict() Verdict {
	switch w.Configured.Found {
	case WindowShown:
		return Shown
	case WindowRefused:
		return NotShown
	}
	return Violated
}

// Frontier is the shortest and the longest patience that is shown for a period
// and a settle time; ok is false where there is no window.
func (w *Window) Frontier(period, settle int) (from, to time.Duration, ok bool) {
	for i := range w.Patiences {
		if c := w.Cell(period, settle, i); c.Found == WindowShown {
			if !ok {
				from = c.Patience
			}
			to, ok = c.Patience, true
		}
	}
	return from, to, ok
}

// MakeWindow maps one channel of a site: what is available and what is declared
// comes from the site's own properties, within and tolerates.
func MakeWindow(s *site.Site, channel string, o model.Options) (*Window, error) {
	at := -1
	for i := range s.Channels {
		if s.Channels[i].Name == channel {
			at = i
		}
	}
	if at < 0 {
		return nil, fmt.Errorf("no channel is called %q", channel)
	}
	m, err := model.FromSite(s)
	if err != nil {
		return nil, err
	}
	w := &Window{Channel: channel, Class: monitor.High.String()}
	class := monitor.High
	for i := range m.Own {
		p := &m.Own[i]
		causes := p.When.Causes()
		switch {
		case p.Kind == "within" && causes.Has(at) && (w.Available == 0 || p.Time < w.Available):
			w.Available, w.Output = p.Time, m.Names.Outputs[p.Output]
			w.From = append(w.From, p.Name)
		case p.Kind == "tolerates" && p.Channel == at && p.Time > w.Disturbance:
			w.Disturbance, class = p.Time, p.Class
			w.From = append(w.From, p.Name)
		}
	}
	if w.Available == 0 {
		return nil, fmt.Errorf("no property says how long %s may take: add {kind: within, output: …, when: NOT %s, time: …}", channel, channel)
	}
	w.Class = class.String()
	w.axes(s, &s.Channels[at], class)
	w.fill(s, at, class, o)
	w.Configured = w.cell(s, at, class, s.Period.Max, s.Channels[at].SettleTime, s.Channels[at].Patience[class], searched{})
	return w, nil
}

// fill judges every cell, a period and a patience at a time, on all cores.
func (w *Window) fill(s *site.Site, at int, class monitor.Class, o model.Options) {
	w.Cells = make([]WindowCell, len(w.Periods)*len(w.Settles)*len(w.Patiences))
	jobs, done := make(chan int), 0
	var all sync.WaitGroup
	var one sync.Mutex
	for range o.WorkerCount() {
		all.Go(func() {
			for job := range jobs {
				period, patience := job/len(w.Patiences), job%len(w.Patiences)
				known := searched{}
				for settle := range w.Settles {
					*w.Cell(period, settle, patience) = w.cell(s, at, class, w.Periods[period], w.Settles[settle], w.Patiences[patience], known)
				}
				one.Lock()
				if done += len(w.Settles); o.Progress != nil {
					o.Progress(done, len(w.Cells), "window of "+w.Channel, uint64(done))
				}
				one.Unlock()
			}
		})
	}
	for job := range len(w.Periods) * len(w.Patiences) {
		jobs <- job
	}
	close(jobs)
	all.Wait()
}

// searched keeps what was found of channels that differ in how they settle only:
// once bonded, none of the settings of settling is looked at any more. All have
// the same poll.
type searched map[monitor.Config]worstOfClass

type worstOfClass struct{ detect, forgiven model.Scans }

func (known searched) search(c monitor.Config, class monitor.Class, poll model.Scans) (worstOfClass, error) {
	c.SettleScans, c.SettleReadings, c.SettlePause = 1, 1, 0
	if w, ok := known[c]; ok {
		return w, nil
	}
	t, err := table.Tabulate(model.Real(), &c, 1<<30)
	if err != nil {
		return worstOfClass{}, err
	}
	w := worstOfClass{forgiven: t.ShortestDip(class, poll)}
	w.detect, _ = t.LongestBad(table.Bad[:])
	known[c] = w
	return w, nil
}

// axes spreads the map around what the file says.
func (w *Window) axes(s *site.Site, c *site.Channel, class monitor.Class) {
	for _, share := range []int64{50, 100, 200, 400} {
		w.Periods = append(w.Periods, s.Period.Max*time.Duration(share)/100)
	}
	for _, share := range []int64{50, 100, 200} {
		w.Settles = append(w.Settles, c.SettleTime*time.Duration(share)/100)
	}
	longest := max(w.Available, c.Patience[class], w.Disturbance)
	for i := time.Duration(1); i <= 20; i++ {
		w.Patiences = append(w.Patiences, longest*i/16)
	}
}

// cell judges one setting: the class in question gets the patience; classes that
// were more patient than the file's patience are not touched.
func (w *Window) cell(s *site.Site, at int, class monitor.Class, period, settle, patience time.Duration, known searched) WindowCell {
	c := WindowCell{Period: period, Settle: settle, Patience: patience, Found: WindowRefused}
	changed := *s
	changed.Channels = append([]site.Channel(nil), s.Channels...)
	ch := &changed.Channels[at]
	changed.Period.Min = s.Period.Min * period / s.Period.Max
	changed.Period.Max = period
	changed.Poll = max(s.Poll, period)
	ch.SettleTime, ch.Patience[class] = settle, patience
	config, problems := changed.Logic()
	if problems != nil {
		c.Says = problems[0].Text
		return c
	}
	clock := model.Model{PeriodMin: changed.Period.Min, PeriodMax: period, Poll: changed.Poll}
	worst, err := known.search(config.Channels[at].Config, class, clock.Held())
	if err != nil {
		c.Says = err.Error()
		return c
	}
	delay := clock.Read(ch.Aperture)
	for i := range s.Outputs {
		if s.Outputs[i].Name == w.Output {
			delay += time.Duration(s.Outputs[i].OutputDelay.Hi * float64(time.Second))
		}
	}
	c.Detect, c.Forgives = clock.Longest(worst.detect)+delay, clock.Forgiven(class, worst.forgiven)
	needed := config.Channels[at].SettleScans
	c.Ready = time.Duration(needed-min(1, needed)) * changed.Period.Min
	late, trips := c.Detect > w.Available, w.Disturbance > 0 && clock.Hit(class, w.Disturbance) > worst.forgiven
	switch {
	case late && trips:
		c.Found = WindowBoth
	case late:
		c.Found = WindowViolated
	case trips:
		c.Found = WindowTrips
	default:
		c.Found = WindowShown
	}
	return c
}
