package margin

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Loss is answer (iii): what is on the node when the flow has stopped after an
// abrupt loss of its bond?
type Loss struct {
	Standing verdict.Verdict `json:"standing"`
	// Claim is wins everywhere, loses everywhere or depends; caps included.
	Claim charge.Verdict `json:"claim"`
	Why   string         `json:"why,omitempty"`
	// Outcome is with the capped current; nil where nothing stops the stream.
	Outcome *charge.Outcome `json:"outcome,omitempty"`
	// Uncapped is with the uncapped current, where it differs.
	Uncapped *charge.Outcome `json:"uncapped_current,omitempty"`
	// TimeToIncendive is at full current from a bonded start, isolated, s.
	TimeToIncendive interval.Interval `json:"time_to_incendive"`
	Stops           []string          `json:"stops"` // outputs that trip whatever else is true
	Delays          []Delay           `json:"delays"`
	Delay           interval.Interval `json:"delay"` // s, sum up to first movement
	Classes         []ClassOutcome    `json:"classes"`
	Stuck           *Stuck            `json:"actuator_stays_open,omitempty"`
	Together        *Together         `json:"together,omitempty"`
	DependsOn       []Edge            `json:"depends_on"`
	Swings          []Bar             `json:"swings"` // widest first
	Remake          *Remake           `json:"remake,omitempty"`
	Instead         []Instead         `json:"instead"`

	loss     charge.Loss
	flow     flow
	critical float64 // Ω, lowest resistance at which what ignites is reached
}

// ClassOutcome is the outcome if every loss came as this class of readings.
type ClassOutcome struct {
	Class
	Claim  charge.Verdict    `json:"claim"`
	Energy interval.Interval `json:"energy"` // J
}

// Stuck is the same loss when the first actuator does not move.
type Stuck struct {
	Case   string            `json:"case"`
	Claim  charge.Verdict    `json:"claim"`
	Energy interval.Interval `json:"energy"` // J
	End    interval.Interval `json:"end"`    // s
}

// Edge is the break-even of one input, all others as they are.
type Edge struct {
	Input string `json:"input"`
	Unit  string `json:"unit"`
	// Rising: more is worse. It wins everywhere up to WinsAt and loses everywhere
	// from LosesAt on; the other way round when not rising. Nil: not inside the
	// range that was searched.
	Rising  bool       `json:"rising"`
	WinsAt  *float64   `json:"wins_at,omitempty"`
	LosesAt *float64   `json:"loses_at,omitempty"`
	WinsAs  []Quantity `json:"wins_as,omitempty"` // the same in other words
	LosesAs []Quantity `json:"loses_as,omitempty"`
}

// outcomes remembers what was calculated: the bays of a plant are often alike.
type outcomes map[charge.Loss]charge.Outcome

func (o outcomes) of(l charge.Loss) (charge.Outcome, error) {
	if out, ok := o[l]; ok {
		return out, nil
	}
	out, err := l.Evaluate()
	if err == nil {
		o[l] = out
	}
	return out, err
}

// claimOf is the verdict with and without the caps; where they differ, it
// depends on them.
func claimOf(list ...charge.Verdict) charge.Verdict {
	for _, v := range list[1:] {
		if v != list[0] {
			return charge.Depends
		}
	}
	return list[0]
}

func standingOf(v charge.Verdict) verdict.Verdict {
	switch v {
	case charge.WinsEverywhere:
		return verdict.Shown
	case charge.LosesEverywhere:
		return verdict.Violated
	}
	return verdict.NotShown
}

func (b *bench) loss(nd *node, f flow, body body, stops []int, critical float64, n *notes) (Loss, error) {
	a := Loss{Stops: b.names(stops), Delays: []Delay{}, Classes: []ClassOutcome{}, DependsOn: []Edge{}, Swings: []Bar{}, Instead: []Instead{}, flow: f, critical: critical}
	if a.Stops == nil {
		a.Stops = []string{}
	}
	a.loss = charge.Loss{Current: f.current, Leak: charge.NoLeak(), Capacitance: body.capacitance, Lowest: body.lowest, Ignition: body.ignition}
	part, err := charge.NewConductor(f.current, charge.NoLeak(), body.capacitance)
	if err != nil {
		return a, err
	}
	a.TimeToIncendive = part.TimeToIncendive(body.ignition)
	var c chain
	if len(stops) > 0 {
		c = b.chain(nd, f, stops, n)
		a.loss.RunDown, a.Delays, a.Delay = c.runDown, c.delays, c.runDown.Delay
	} else if !b.neverStops(nd, &a, n) {
		return a, nil
	}
	out, err := b.cache.of(a.loss)
	if err != nil {
		return a, fmt.Errorf("%s, %s: %w", nd.name, nd.stream.Name, err)
	}
	a.Outcome, a.TimeToIncendive = &out, out.TimeToIncendive
	if err := b.capped(&a, nd); err != nil {
		return a, err
	}
	if !f.covered {
		a.Standing = verdict.Worse(a.Standing, verdict.NotShown)
		a.Why = "water or solids in the line are not covered; the figures are for the liquid alone"
	}
	return a, b.around(&a, nd, body, stops, c)
}

// neverStops judges a node whose loss stops nothing. Where the longest transfer
// is known it is the time in which the node charges.
func (b *bench) neverStops(nd *node, a *Loss, n *notes) (goOn bool) {
	a.Why = "nothing trips on it whatever else is true: the stream goes on"
	a.Claim, a.Standing = charge.LosesEverywhere, verdict.Violated
	if len(nd.channels) == 0 {
		a.Why = "no channel watches it: if it floats, the stream goes on to its end"
		a.Claim, a.Standing = charge.Depends, verdict.NotShown
	}
	if !nd.stream.Lasts.Set {
		n.word("length of a transfer", "unknown", "streams."+nd.stream.Name+".lasts", "without an end no charge at the end can be computed")
		return false
	}
	lasts := n.file("length of a transfer", nd.stream.Lasts, "s", "streams."+nd.stream.Name+".lasts")
	a.loss.RunDown = charge.RunDown{Travel: lasts, Law: a.flow.law}
	a.Delays = []Delay{{Name: "to the end of the transfer", Time: lasts, From: FromFile, Why: "nothing stops it before", drawn: "to the end of the transfer"}}
	return true
}

// capped joins the verdicts with and without the caps of current and voltage.
func (b *bench) capped(a *Loss, nd *node) error {
	verdicts := []charge.Verdict{a.Outcome.Verdict, a.Outcome.VerdictCapped}
	if a.flow.uncapped != a.flow.current {
		more := a.loss
		more.Current = a.flow.uncapped
		out, err := b.cache.of(more)
		if err != nil {
			return err
		}
		a.Uncapped = &out
		verdicts = append(verdicts, out.Verdict, out.VerdictCapped)
	}
	a.Claim = claimOf(verdicts...)
	a.Standing = standingOf(a.Claim)
	if a.Claim == charge.Depends && a.Outcome.Verdict != a.Outcome.VerdictCapped {
		a.Why = fmt.Sprintf("it rests on the flashover cap: %s without it, %s with it", a.Outcome.Verdict, a.Outcome.VerdictCapped)
	} else if a.Claim == charge.Depends && a.Uncapped != nil && a.Uncapped.Verdict != a.Outcome.Verdict {
		a.Why = fmt.Sprintf("it rests on the cap of the current: %s without it, %s with it", a.Uncapped.Verdict, a.Outcome.Verdict)
	}
	if len(nd.channels) == 0 && a.Standing == verdict.Violated {
		// The interlock has no say here; whether it floats is for inspection.
		a.Standing = verdict.NotShown
		a.Why = "no channel watches it: loses everywhere if it floats"
	} else if len(a.Stops) == 0 && a.Standing != verdict.Violated && len(nd.channels) > 0 {
		a.Why = "nothing trips on it; judged to the end of the transfer"
	}
	return nil
}

// around adds everything beside the one outcome.
func (b *bench) around(a *Loss, nd *node, body body, stops []int, c chain) error {
	if err := a.bars(); err != nil {
		return err
	}
	var err error
	for _, class := range worstOfEach(c.classes) {
		one := a.loss
		rest := upTo(seconds(b.site.Period.Max)).Add(c.afterTrip)
		one.RunDown.Delay = upTo(class.Detection + c.detection.Hi - slowestOf(c.classes)).Add(rest)
		out, err := b.cache.of(one)
		if err != nil {
			return err
		}
		a.Classes = append(a.Classes, ClassOutcome{class, claimOf(out.Verdict, out.VerdictCapped), out.EnergyCapped})
	}
	if c.stuck != nil {
		one := a.loss
		one.RunDown = *c.stuck
		out, err := b.cache.of(one)
		if err != nil {
			return err
		}
		a.Stuck = &Stuck{c.stuckWho, claimOf(out.Verdict, out.VerdictCapped), out.EnergyCapped, out.End}
	}
	if len(stops) > 0 {
		if a.Remake, err = b.remake(a, c); err != nil {
			return err
		}
	}
	if a.Claim != charge.WinsEverywhere && !b.brief {
		a.DependsOn = a.edges(nd)
		a.Instead, err = b.instead(a, nd, body, stops, c)
	}
	return err
}

// worstOfEach keeps of each class the channel that is slowest.
func worstOfEach(classes []Class) []Class {
	var list []Class
	for _, c := range classes {
		at := slices.IndexFunc(list, func(have Class) bool { return have.Class == c.Class })
		switch {
		case at < 0:
			list = append(list, c)
		case list[at].Detection < c.Detection:
			list[at] = c
		}
	}
	return list
}

// Bar is one bar of a tornado plot: what not knowing one input does.
type Bar struct {
	Input charge.Input `json:"input"`
	// Ratio is charge over the charge that ignites while this input goes through
	// its interval, the others at their middle.
	Ratio   interval.Interval `json:"ratio"`
	Decades *float64          `json:"decades,omitempty"` // width in powers of ten; absent when it reaches down to 0
}

func (a *Loss) bars() error {
	swings, err := a.loss.Swings()
	if err != nil {
		return err
	}
	sort.SliceStable(swings, func(i, k int) bool { return swings[i].Decades > swings[k].Decades })
	for _, s := range swings {
		bar := Bar{Input: s.Input, Ratio: s.Ratio}
		if !math.IsInf(s.Decades, 0) {
			bar.Decades = &s.Decades
		}
		a.Swings = append(a.Swings, bar)
	}
	return nil
}

func slowestOf(classes []Class) float64 {
	worst := 0.0
	for _, c := range classes {
		worst = max(worst, c.Detection)
	}
	return worst
}

// units of the inputs.
var units = map[charge.Input]string{
	charge.InputCurrent: "A", charge.InputLeak: "Ω", charge.InputCapacitance: "F", charge.InputLowest: "F",
	charge.InputEnergy: "J", charge.InputDelay: "s", charge.InputTravel: "s", charge.InputTimeConstant: "s",
}

// edges are the break-evens of every input that has one, widest swing first.
// The leak is no such input: none is counted on.
func (a *Loss) edges(nd *node) []Edge {
	list := []Edge{}
	for _, swing := range a.Swings {
		if swing.Input == charge.InputLeak {
			continue
		}
		found, err := a.loss.BreakEvenOf(swing.Input, searchRange(a.loss.Value(swing.Input)))
		if err != nil {
			continue // a capacitance has no single edge
		}
		e := Edge{Input: swing.Input.String(), Unit: units[swing.Input], Rising: found.Rising}
		if found.HasWins {
			e.WinsAt = &found.Wins
		}
		if found.HasLoses {
			e.LosesAt = &found.Loses
		}
		if e.WinsAt == nil && e.LosesAt == nil {
			continue
		}
		if swing.Input == charge.InputCurrent {
			if e.WinsAt != nil {
				e.WinsAs = a.flow.inWords(nd.stream, *e.WinsAt, true)
			}
			if e.LosesAt != nil {
				e.LosesAs = a.flow.inWords(nd.stream, *e.LosesAt, false)
			}
		}
		list = append(list, e)
	}
	return list
}

// searchRange is where a break-even is looked for: four decades around what is
// given.
func searchRange(x interval.Interval) interval.Interval {
	lo, hi := x.Lo, x.Hi
	if lo <= 0 {
		lo = hi * 1e-3
	}
	if hi <= 0 {
		lo, hi = 1e-6, 1
	}
	return interval.Interval{Lo: lo * 1e-4, Hi: hi * 1e4}
}

// Remake is the spark each time that a chattering clamp makes contact again.
type Remake struct {
	// Gap is the longest that never trips, s.
	Gap    interval.Interval `json:"gap"`
	Energy interval.Interval `json:"energy"` // J, of each spark
	Claim  charge.Verdict    `json:"claim"`
	// HarmlessGap is the longest gap whose spark ignites nothing, s.
	HarmlessGap float64 `json:"harmless_gap"`
	// Tolerated of every Of readings may be bad for ever under the counting rule.
	Tolerated uint64 `json:"tolerated"`
	Of        uint64 `json:"of"`
	Channel   string `json:"channel"`
}

func (b *bench) remake(a *Loss, c chain) (*Remake, error) {
	one := a.loss
	one.RunDown = charge.RunDown{Delay: c.detection}
	out, err := b.cache.of(one)
	if err != nil {
		return nil, err
	}
	r := &Remake{Gap: c.detection, Energy: out.EnergyCapped, Claim: claimOf(out.Verdict, out.VerdictCapped), HarmlessGap: out.TimeToIncendive.Lo}
	if math.IsInf(r.HarmlessGap, 1) {
		r.HarmlessGap = c.detection.Hi
	}
	for _, class := range c.classes {
		for _, t := range b.timings[b.site.ChannelIndex(class.Channel)].Patience {
			if t.Of > 0 && (r.Of == 0 || t.Tolerated*r.Of > r.Tolerated*t.Of) {
				r.Tolerated, r.Of, r.Channel = t.Tolerated, t.Of, class.Channel
			}
		}
	}
	return r, nil
}

// durationText writes a time in s as the site file would.
func durationText(s float64) string { return quantity.Duration(secondsToDuration(s)) }
