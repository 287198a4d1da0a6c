package judge

import (
	"fmt"
	"time"

	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/sheet"
)

// Discount takes back what was found violated after the bench had lagged: presses and waits were shorter or longer for the
// unit than for the logic, so a good unit may differ. But no lag excuses a trip that is later than its bound by more than it.
func (o *Observed) Discount(steps []sheet.Step) []sheet.Step {
	for index := range steps {
		s := &steps[index]
		if s.Verdict == sheet.Violated {
			if text := o.excuse(s); text != "" {
				s.Verdict, s.Text = sheet.CannotTell, s.Text+"; but "+text
			}
		}
		if s.Verdict != sheet.Violated || o.FirstLag == nil {
			continue
		}
		until := s.At
		if s.Bound != nil { // the time in which the answer was waited for
			until += (s.Bound.Most + interval.InMillis(o.MostLag)) / 1000
		}
		if until < float64(o.FirstLag.Scan)*o.Map.Site.Period.Max.Seconds() {
			continue
		}
		if s.Change == sheet.Withheld && s.Measured != nil && s.Bound != nil && s.Measured.Least > s.Bound.Most+interval.InMillis(o.MostLag) {
			continue
		}
		s.Verdict = sheet.CannotTell
		s.Text += fmt.Sprintf("; but the bench was %v behind in scan %d, and showed the unit another course of time than the logic: play it again", o.FirstLag.By.Round(time.Millisecond), o.FirstLag.Scan)
	}
	return steps
}

// excuse says which step excuses a trip that came too soon or uncalled; empty: none.
func (o *Observed) excuse(s *sheet.Step) string {
	soon := s.Measured == nil || s.Bound != nil && s.Measured.Most < s.Bound.Least
	if s.Change != sheet.Withheld || !soon {
		return ""
	}
	cone := o.Map.Cone(o.Logic, o.Map.Site.OutputIndex(s.Output))
	for _, g := range o.Glitches {
		if cone[o.Map.Site.Channels[g.Channel].Name] && s.At >= g.From && s.At <= g.To {
			return g.Text
		}
	}
	return ""
}
