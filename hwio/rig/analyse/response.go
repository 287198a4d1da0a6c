package analyse

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/sheet"
)

// Test says which lines of a capture are stimulus and response.
type Test struct {
	Stimulus, Response           string
	StimulusRises, ResponseRises bool
	Bounce                       time.Duration // edges this close behind a stimulus belong to it: its contact bounces
	Output, Meaning              string        // for the sheet
	Bound                        judge.Bound
}

// Measure pairs every stimulus with the first response after it: of a contact that bounces, the first opening counts.
func (c *Capture) Measure(t Test) ([]sheet.Step, error) {
	for _, line := range []string{t.Stimulus, t.Response} {
		if _, ok := c.Lines[line]; !ok {
			return nil, fmt.Errorf("the record has no line %q; it has %s", line, strings.Join(c.names(), ", "))
		}
	}
	begins := c.begins(t)
	var steps []sheet.Step
	for index, begin := range begins {
		until := c.End + 1
		if index+1 < len(begins) {
			until = int64(begins[index+1].From)
		}
		steps = append(steps, c.measureOne(t, begin, until))
	}
	return steps, nil
}

// begins are the stimuli: from before the first edge to the last of its bounces.
func (c *Capture) begins(t Test) (list []interval.Moment) {
	last := int64(-1 << 62)
	for _, edge := range c.Lines[t.Stimulus] {
		switch {
		case edge.At-last <= int64(t.Bounce):
			if edge.On == t.StimulusRises {
				list[len(list)-1].To = port.Stamp(edge.At)
			}
			last = edge.At
		case edge.On == t.StimulusRises:
			list = append(list, interval.Moment{From: port.Stamp(edge.From), To: port.Stamp(edge.At)})
			last = edge.At
		}
	}
	return list
}

func (c *Capture) measureOne(t Test, begin interval.Moment, until int64) sheet.Step {
	step := sheet.Step{
		Output: t.Output, Change: sheet.ChangeTo(t.ResponseRises), At: time.Duration(begin.To).Seconds(), Stimulus: t.Meaning,
		Bound: t.Bound.Millis(), Source: t.Bound.Source,
	}
	for _, edge := range c.Lines[t.Response] {
		if edge.On == t.ResponseRises && edge.At > int64(begin.From) && edge.At < until {
			took := interval.Took(begin, interval.Moment{From: port.Stamp(edge.From), To: port.Stamp(edge.At)}, 0)
			step.Measured = took.Millis()
			step.Verdict, step.Text = t.Bound.Judge(took)
			return step
		}
	}
	waited := time.Duration(until - int64(begin.To))
	step.Measured = &sheet.Millis{Least: interval.InMillis(waited), Open: true}
	step.Verdict, step.Text = sheet.CannotTell, "no response before the record or the next stimulus, too soon to say that it should have come"
	if waited > t.Bound.Most {
		step.Verdict, step.Text = sheet.Violated, fmt.Sprintf("no response for %.1f ms", interval.InMillis(waited))
	}
	return step
}
