package margin

import (
	"fmt"
	"math"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Instead is one change with its own recomputed figure: what would win.
type Instead struct {
	Means string `json:"means"` // stable word: second path, leak, slower, …
	Text  string `json:"text"`
	// Value is the figure that it takes, already rounded to the harmless side.
	Value  *float64          `json:"value,omitempty"`
	Unit   string            `json:"unit,omitempty"`
	Claim  charge.Verdict    `json:"claim"`  // recomputed with exactly this figure
	Energy interval.Interval `json:"energy"` // J, recomputed
	// TimeToIncendive is recomputed where the change alters it, s.
	TimeToIncendive *interval.Interval `json:"time_to_incendive,omitempty"`
}

// twoDigits rounds to two significant digits, down or up.
func twoDigits(v float64, up bool) float64 {
	if v == 0 || math.IsInf(v, 0) {
		return v
	}
	scale := math.Pow(10, 1-math.Floor(math.Log10(math.Abs(v))))
	if up {
		return math.Ceil(v*scale*(1-1e-12)) / scale
	}
	return math.Floor(v*scale*(1+1e-12)) / scale
}

func secondsToDuration(s float64) time.Duration {
	return time.Duration(math.Round(s*1e6)) * time.Microsecond
}

// alternatives collects changes and evaluates each.
type alternatives struct {
	bench *bench
	base  charge.Loss
	list  []Instead
	err   error
}

func (t *alternatives) add(means, text string, value float64, unit string, l charge.Loss, flows bool) {
	if t.err != nil {
		return
	}
	out, err := t.bench.cache.of(l)
	if err != nil {
		t.err = err
		return
	}
	one := Instead{Means: means, Text: text, Unit: unit, Claim: claimOf(out.Verdict, out.VerdictCapped), Energy: out.EnergyCapped}
	if !math.IsNaN(value) {
		one.Value = &value
	}
	if flows {
		one.TimeToIncendive = &out.TimeToIncendive
	}
	t.list = append(t.list, one)
}

// edge is the harmless end of one input, rounded to its harmless side; ok is
// false where no value in the range wins everywhere.
func (t *alternatives) edge(input charge.Input, search interval.Interval) (float64, bool) {
	found, err := t.base.BreakEvenOf(input, search)
	if err != nil || !found.HasWins {
		return 0, false
	}
	return twoDigits(found.Wins, !found.Rising), true
}

func (b *bench) instead(a *Loss, nd *node, body body, stops []int, c chain) ([]Instead, error) {
	t := &alternatives{bench: b, base: a.loss}
	t.paths(nd, body, a.critical)
	t.slower(a.flow, nd.stream)
	t.filters(a.flow, nd.stream)
	if len(stops) > 0 {
		t.faster(c)
	}
	t.inert(a)
	if t.list == nil {
		t.list = []Instead{}
	}
	return t.list, t.err
}

// paths: another way to earth, or the leak that the verdict does not count on.
func (t *alternatives) paths(nd *node, body body, critical float64) {
	if r, ok := t.edge(charge.InputLeak, interval.Between(1, 1e15)); ok {
		r = min(r, twoDigits(critical*(1-1e-9), false)) // it must also hold while product flows on
		t.add("second path", "a second path to earth of at most", r, "Ω", t.base.With(charge.InputLeak, interval.Point(r)), false)
	}
	if nd.part != nil {
		return
	}
	if v := nd.vessel; v.SecondPath.Set {
		path := of(v.SecondPath)
		held := charge.HeldVoltage(t.base.Current, path)
		t.add("second path of the file", fmt.Sprintf("the second path of the file, %s, while it is there: holds %s; nothing monitors it", path.Text("Ω"), interval.Point(held.Hi).Text("V")),
			math.NaN(), "", t.base.With(charge.InputLeak, path), false)
	}
	if body.leakKnown {
		t.add("leak of the file", fmt.Sprintf("the leak of the file, %s, if it can be relied on", body.leak.Text("Ω")),
			math.NaN(), "", t.base.With(charge.InputLeak, body.leak), false)
	}
}

// slower: less charging current, and what that is in terms of the flow.
func (t *alternatives) slower(f flow, s *site.Stream) {
	if i, ok := t.edge(charge.InputCurrent, interval.Between(1e-14, 1)); ok {
		text := "a charging current of at most"
		for _, q := range f.inWords(s, i, true) {
			text = fmt.Sprintf("%s of at most %s, that is a charging current of", q.Name, interval.Point(twoDigits(q.Value, false)).Text(q.Unit))
			break
		}
		t.add("less current", text, i, "A", t.base.With(charge.InputCurrent, interval.Point(i)), false)
	}
	if !s.SlowVelocity.Set || !s.Velocity.Set || s.Velocity.Lo <= 0 {
		return
	}
	share := of(s.SlowVelocity).Div(of(s.Velocity))
	if f.law == charge.CurrentAsSquare {
		share = share.Square()
	}
	t.add("slow flow of the file", fmt.Sprintf("slow flow of the file, %s, all the time", of(s.SlowVelocity).Text("m/s")),
		math.NaN(), "", t.base.With(charge.InputCurrent, f.current.Mul(share)), true)
}

// filters: the same flow without its filter, and with residence behind it.
func (t *alternatives) filters(f flow, s *site.Stream) {
	if s.Kind != "liquid" || s.Current.Set || f.pipe.Hi <= 0 || f.filter == charge.NoFilter || f.filter == charge.Strainer {
		return
	}
	l := t.base.With(charge.InputCurrent, f.pipe)
	l.RunDown.Law = charge.CurrentAsSquare
	t.add("no filter", "no fine filter in the line", math.NaN(), "", l, true)
	rest := charge.FilterResidence.Value
	if s.FilterBefore.Set && s.FilterBefore.Lo >= rest.Lo {
		return
	}
	liquid, listed := charge.FindLiquid(s.Product)
	permittivity, conductivity := liquidOf(s, liquid, listed, "", &notes{})
	left := charge.FineFilter.Residual(charge.FineFilterDensity.Value, rest, permittivity, conductivity)
	behind := charge.StreamCurrent(left, f.volume)
	t.add("residence", fmt.Sprintf("%s between filter and receiver (%s)", durationText(rest.Lo), charge.FilterResidence.Cite()),
		math.NaN(), "", t.base.With(charge.InputCurrent, behind.Hull(behind.Add(f.pipe))), true)
}

// faster: links of the chain made shorter.
func (t *alternatives) faster(c chain) {
	quick := t.base
	quick.RunDown.Delay = c.quickest.Add(c.afterTrip)
	t.add("no patience", fmt.Sprintf("no patience for any class: at most %s to first movement", interval.Point(twoDigits(quick.RunDown.Delay.Hi, true)).Text("s")),
		math.NaN(), "", quick, false)
	if travel := t.base.RunDown.Travel; travel.Hi > 0 {
		if s, ok := t.edge(charge.InputTravel, interval.Interval{Lo: travel.Hi * 1e-4, Hi: travel.Hi}); ok {
			t.add("confirm faster", "flow stopped, from first movement, within", s, "s", t.base.With(charge.InputTravel, upTo(s)), false)
		}
	}
	none := t.base
	none.RunDown.Travel = upTo(0)
	if delay := t.base.RunDown.Delay; delay.Hi > 0 {
		if found, err := none.BreakEvenOf(charge.InputDelay, interval.Interval{Lo: delay.Hi * 1e-4, Hi: delay.Hi * 1e4}); err == nil && found.HasWins {
			s := twoDigits(found.Wins, false)
			t.add("whole chain", "from the loss to no flow at all, at full current, within", s, "s", none.With(charge.InputDelay, upTo(s)), false)
		}
	}
}

// inert: nothing around that ignites so easily. Where the flashover cap says
// less, its figure is taken and said to rest on it.
func (t *alternatives) inert(a *Loss) {
	const text = "no flammable atmosphere (inerting, extraction), or one that ignites only from"
	most := a.Outcome.EnergyCapped.Hi
	capped := twoDigits(most*(1+1e-6), true)
	w, ok := t.edge(charge.InputEnergy, interval.Interval{Lo: a.loss.Ignition.Energy.Lo * 1e-1, Hi: max(most, a.loss.Ignition.Energy.Hi) * 1e4})
	if ok && w <= capped {
		t.add("inerting", text, w, "J", t.base.With(charge.InputEnergy, interval.Point(w)), false)
		return
	}
	t.add("inerting", "with the 30 kV cap: "+text, capped, "J", t.base.With(charge.InputEnergy, interval.Point(capped)), false)
	if n := len(t.list); t.err == nil {
		out, _ := t.bench.cache.of(t.base.With(charge.InputEnergy, interval.Point(capped)))
		t.list[n-1].Claim = out.VerdictCapped
	}
}
