package margin

import (
	"strings"

	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Together is the loss while several streams charge the same node at once.
type Together struct {
	Streams []string          `json:"streams"`
	Current interval.Interval `json:"current"` // A, from the least of one to the sum of all
	Claim   charge.Verdict    `json:"claim"`
	Energy  interval.Interval `json:"energy"` // J
}

// together adds to every line whose node other streams charge as well what they
// do at once: the site does not say that they exclude each other. Their charges
// may have either sign; cancelling is not counted on.
func (b *bench) together(r *Report) error {
	lines := map[string][]*Line{}
	for i := range r.Lines {
		if l := &r.Lines[i]; l.Loss.Outcome != nil {
			lines[l.Node] = append(lines[l.Node], l)
		}
	}
	for i := range r.Lines {
		group := lines[r.Lines[i].Node]
		if len(group) < 2 || group[0] != &r.Lines[i] {
			continue
		}
		sum := joined(group)
		out, err := b.cache.of(sum)
		if err != nil {
			return err
		}
		made := &Together{Current: sum.Current, Claim: claimOf(out.Verdict, out.VerdictCapped), Energy: out.EnergyCapped}
		for _, l := range group {
			made.Streams = append(made.Streams, l.Stream)
		}
		for _, l := range group {
			l.Loss.addTogether(made)
			l.judge()
		}
	}
	return nil
}

// addTogether lets the streams together weaken a verdict, never mend it.
func (a *Loss) addTogether(t *Together) {
	a.Together = t
	if a.Standing == verdict.Shown && t.Claim != charge.WinsEverywhere {
		a.Standing = standingOf(t.Claim)
		a.Why = "alone; not while " + strings.Join(t.Streams, " and ") + " flow at once"
	}
}

// joined is one loss for several streams: currents add up, and of the times each
// from the shortest to the longest. Different shapes become the full current.
func joined(lines []*Line) charge.Loss {
	sum := lines[0].Loss.loss
	run := &sum.RunDown
	for _, l := range lines[1:] {
		one := l.Loss.loss
		sum.Current = interval.Interval{Lo: min(sum.Current.Lo, one.Current.Lo), Hi: sum.Current.Add(one.Current).Hi}
		sum.Ignition.Energy = sum.Ignition.Energy.Hull(one.Ignition.Energy)
		if one.RunDown.Shape != run.Shape {
			run.Shape = charge.FullUntilConfirmed
		}
		run.Law = min(run.Law, one.RunDown.Law) // I ~ v is the worse one
		run.Delay, run.Travel = run.Delay.Hull(one.RunDown.Delay), run.Travel.Hull(one.RunDown.Travel)
		run.TimeConstant = run.TimeConstant.Hull(one.RunDown.TimeConstant)
	}
	return sum
}
