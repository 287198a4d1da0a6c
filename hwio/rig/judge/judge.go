package judge

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/sheet"
	"ohmgate/monitor"
)

// judging pairs what the logic decided with what the unit did, output by output.
type judging struct {
	o      *Observed
	bounds *Bounds
	spread time.Duration
	steps  []sheet.Step
}

// Judge holds the unit against the logic, step by step. Spread is what the loop-back run measured.
func (o *Observed) Judge(verified []Verified, spread time.Duration) []sheet.Step {
	j := &judging{o: o, bounds: NewBounds(o.Map, o.Logic, verified), spread: spread}
	for output, contact := range o.Map.Contacts {
		if contact != nil {
			j.output(output)
		}
	}
	slices.SortStableFunc(j.steps, func(a, b sheet.Step) int { return cmp.Compare(a.At, b.At) })
	return j.steps
}

// pending is one decision of the logic with its stimulus and its bound.
type pending struct {
	Decided
	cause *Stimulus // nil: none was seen, as at power-up
	bound Bound
}

func (j *judging) output(output int) {
	var decided []pending
	for _, d := range j.o.Decided {
		if d.Output == output {
			decided = append(decided, j.withCause(d))
		}
	}
	var answers []Answer
	for _, a := range j.o.Answers {
		if a.Output == output {
			answers = append(answers, a)
		}
	}
	next, made := 0, false
	for index := range decided {
		d, until, end := &decided[index], port.Stamp(1<<63-1), port.Stamp(1<<63-1)
		if index+1 < len(decided) {
			until, end = j.soonest(&decided[index+1])
		}
		var mine *Answer
		// A contact that is where it should be has no answer to give; when it leaves and comes back that is no answer either.
		there, left := made == d.On, false
		for ; next < len(answers); next++ {
			a := &answers[next]
			if a.On != d.On && a.When.To >= end || a.On == d.On && a.When.To >= max(until, j.latest(d)) {
				break // an answer to the next decision
			}
			if mine == nil && a.On == d.On && !left && (d.cause == nil || a.When.To >= d.cause.When.From) {
				mine = a
			} else {
				j.uncalled(output, a, decided)
			}
			made, left = a.On, left || there && a.On != d.On
		}
		j.one(d, mine, until, there || made == d.On)
	}
	for ; next < len(answers); next++ {
		j.uncalled(output, &answers[next], decided)
	}
}

// soonest is when a unit that is right may take a decision: until then the one before it can be waited for. An answer may be
// to it from its stimulus on.
func (j *judging) soonest(d *pending) (sooner, from port.Stamp) {
	from = j.o.Begun
	if d.cause != nil {
		from = d.cause.When.From
	}
	return from.Add(d.bound.Least), from
}

// latest is the end of the time that a decision has.
func (j *judging) latest(d *pending) port.Stamp {
	from := j.o.Begun
	if d.cause != nil {
		from = d.cause.When.To
	}
	return from.Add(d.bound.Most + j.spread)
}

// withCause finds the stimulus behind a decision, and what its answer is held against.
func (j *judging) withCause(d Decided) pending {
	made := pending{Decided: d}
	if channel, s := j.cleanLoss(d); s != nil {
		made.cause, made.bound = s, j.bounds.Loss(d.Output, channel, s.Class)
		return made
	}
	cone := j.o.Map.Cone(j.o.Logic, d.Output)
	aperture := time.Duration(0)
	for i := range j.o.Map.Site.Channels {
		if c := &j.o.Map.Site.Channels[i]; cone[c.Name] {
			aperture = max(aperture, c.Aperture)
		}
	}
	scans := d.Scan
	for index := range j.o.Stimuli {
		if s := &j.o.Stimuli[index]; s.Scan <= d.Scan && (s.Supply || cone[s.Name]) && !s.Minor {
			made.cause, scans = s, d.Scan-s.Scan
		}
	}
	made.bound = j.bounds.Counted(d.Output, scans, aperture)
	return made
}

// cleanLoss is the one change of one channel that spent all of its patience, where a trip has such a cause.
func (j *judging) cleanLoss(d Decided) (channel int, found *Stimulus) {
	if d.On || len(d.FirstOut) != 1 || d.FirstOut[0] >= len(j.o.Logic.Channels) {
		return 0, nil
	}
	channel = d.FirstOut[0]
	for index := range j.o.Stimuli {
		if s := &j.o.Stimuli[index]; s.Scan <= d.Scan && !s.Minor && s.Name == j.o.Map.Site.Channels[channel].Name {
			found = s
		}
	}
	if found == nil || !found.Clean || found.Class == monitor.Good || found.Class == monitor.Between {
		return 0, nil
	}
	return channel, found
}

// at is a moment in the scenario's own seconds.
func (j *judging) at(stamp port.Stamp) float64 { return stamp.Sub(j.o.Begun).Seconds() }

// one judges one decision and its answer; there says that the unit's contact was where it should be, before or when the time for
// the answer was over.
func (j *judging) one(d *pending, mine *Answer, until port.Stamp, there bool) {
	step := sheet.Step{
		Output: j.name(d.Output), Change: sheet.ChangeTo(d.On), At: float64(d.Scan) * j.o.Map.Site.Period.Max.Seconds(), Source: d.bound.Source, Bound: d.bound.Millis(),
		Stimulus: sheet.AtPowerUp,
	}
	begin := interval.Moment{From: j.o.Begun, To: j.o.Begun}
	if d.cause != nil {
		begin, step.Stimulus = d.cause.When, d.cause.String()
	}
	if d.Unconfirmed {
		step.Stimulus = "actuator unconfirmed, last " + step.Stimulus
	}
	if mine != nil {
		took := interval.Took(begin, mine.When, j.spread)
		step.Measured = took.Millis()
		step.Verdict, step.Text = d.bound.Judge(took)
		j.steps = append(j.steps, step)
		return
	}
	waited := min(until, j.o.Ended).Sub(begin.To)
	step.Measured = &sheet.Millis{Least: interval.InMillis(max(waited-j.spread, 0)), Open: true}
	switch {
	case there:
		step.Verdict, step.Measured = sheet.CannotTell, nil
		step.Text = fmt.Sprintf("the unit's contact was %s already: there was no change to measure", map[bool]string{true: "made", false: "open"}[d.On])
	case waited-j.spread <= d.bound.Most:
		step.Verdict = sheet.CannotTell
		step.Text = "the unit did not follow, and was not waited for long enough to say that it should have"
	default:
		step.Verdict = sheet.Violated
		step.Text = fmt.Sprintf("the unit did not follow: its contact was not %s for %.0f ms", map[bool]string{true: "made", false: "open"}[d.On], sheet.Floor(interval.InMillis(waited)))
	}
	j.steps = append(j.steps, step)
}

// uncalled judges a change of the unit's contact that the logic did not decide.
func (j *judging) uncalled(output int, a *Answer, decided []pending) {
	wanted := false
	for index := range decided {
		if d := &decided[index]; d.cause == nil || d.cause.When.From <= a.When.To {
			wanted = d.On
		}
	}
	step := sheet.Step{
		Output: j.name(output), Change: sheet.ChangeTo(a.On), At: j.at(a.When.To), Verdict: sheet.Violated,
		Source: "the logic decided nothing here", Stimulus: sheet.NoStimulus,
	}
	cone := j.o.Map.Cone(j.o.Logic, output)
	for index := range j.o.Stimuli {
		if s := &j.o.Stimuli[index]; (s.Supply || cone[s.Name]) && s.When.From <= a.When.To {
			step.Stimulus = s.String()
		}
	}
	switch {
	case a.On && !wanted:
		step.Text = "the unit energised its output while the logic withholds it"
	case !a.On && wanted:
		step.Text = "the unit withheld its output while the logic keeps it energised"
		if text := j.within(output, a); text != "" {
			step.Verdict, step.Text = sheet.CannotTell, text
		}
	default:
		step.Text = "the unit went back to where the logic has been all along"
		step.Verdict = sheet.CannotTell
	}
	j.steps = append(j.steps, step)
}

// within says whether a disturbance was so long that either answer to it is right: longer than the guaranteed patience, and
// not for sure as long as the worst detection.
func (j *judging) within(output int, a *Answer) string {
	cone := j.o.Map.Cone(j.o.Logic, output)
	for index := range j.o.Stimuli {
		s := &j.o.Stimuli[index]
		channel := j.o.Map.Site.ChannelIndex(s.Name)
		if !s.Channel || s.Minor || !cone[s.Name] || channel < 0 || s.Class == monitor.Good || s.Class == monitor.Between || s.When.From > a.When.To {
			continue
		}
		end := interval.Moment{From: j.o.Ended, To: j.o.Ended}
		for later := index + 1; later < len(j.o.Stimuli); later++ {
			if j.o.Stimuli[later].Name == s.Name && !j.o.Stimuli[later].Minor {
				end = j.o.Stimuli[later].When
				break
			}
		}
		bound := j.bounds.Loss(output, channel, s.Class)
		lasted := interval.Took(s.When, end, j.spread)
		if a.When.From < end.To.Add(bound.Most) && lasted.Most >= bound.Least && lasted.Least <= bound.Most {
			return fmt.Sprintf("%s was %s for %.0f..%.0f ms: between the guaranteed patience and the worst detection a unit may do either", s.Name, s.Class, sheet.Floor(interval.InMillis(lasted.Least)), sheet.Ceil(interval.InMillis(lasted.Most)))
		}
	}
	return ""
}

func (j *judging) name(output int) string { return j.o.Map.Site.Outputs[output].Name }

// Trips are the slowest ends of the measured times of all trips that were not violated, by what was done. One violated trip
// forbids any statement about its kind.
func Trips(steps []sheet.Step) map[string][]float64 {
	made := map[string][]float64{}
	defer func() {
		for index := range steps {
			if s := &steps[index]; s.Change == sheet.Withheld && s.Verdict == sheet.Violated {
				delete(made, s.Output+" after "+s.Stimulus)
			}
		}
	}()
	for index := range steps {
		s := &steps[index]
		if s.Verdict != sheet.Violated && s.Change == sheet.Withheld && s.Measured != nil && !s.Measured.Open && s.Stimulus != sheet.NoStimulus {
			name := s.Output + " after " + s.Stimulus
			made[name] = append(made[name], s.Measured.Most)
		}
	}
	return made
}
