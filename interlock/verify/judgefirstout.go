package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// firstOut: what is named was not true in the trip scan, something is named
// where the permissive was the reason, and the name stands until the reset.
func (v *verification) firstOut(output int) *Result {
	s, none := v.ready(output)
	if none != nil {
		return none
	}
	p := v.Model.Config.Outputs[output].Permissive
	var causes []int
	set := p.Causes()
	set.Each(func(c int) { causes = append(causes, c) })
	trips, tried := 0, 0
	said := ""
	for size := 1; size <= 2; size++ {
		model.Choose(causes, size, nil, func(chosen []int) {
			if tried++; tried > 200 || said != "" {
				return
			}
			tripped, wrong := v.tripBy(s, output, chosen)
			trips += model.Int(tripped)
			said = wrong
		})
	}
	switch {
	case said != "":
		return &Result{Verdict: Violated, Says: said}
	case trips == 0:
		return &Result{Verdict: Nothing, Says: "nothing that was tried trips it"}
	}
	return &Result{Verdict: Shown, Says: fmt.Sprintf("%d trips by one cause and by two in one scan, each followed on for 20 scans", trips)}
}

// decides says that one cause with another value would make a permissive true: under
// an XOR either side is to blame.
func decides(p interlock.Permissive, cause int, value func(int) interlock.Truth) bool {
	return slices.ContainsFunc(model.Truths[:], func(t interlock.Truth) bool {
		return model.Evaluate(p, func(c int) interlock.Truth {
			if c == cause {
				return t
			}
			return value(c)
		}) == interlock.True
	})
}

// tripBy lets some causes go bad together and looks at what is named.
func (v *verification) tripBy(s *runs.Started, output int, chosen []int) (tripped bool, said string) {
	d, _ := s.From()
	p := v.Model.Config.Outputs[output].Permissive
	for n := model.Scans(0); n < v.DetectAll()+1 && d.Enabled(); n++ {
		d.Healthy()
		for _, cause := range chosen {
			d.Spoil(cause, monitor.High)
		}
		d.Turn()
	}
	trip := d.State.Outputs[output].Trip
	if d.State.Outputs[output].Mode != interlock.Tripped {
		return false, ""
	}
	keep := func(c int) interlock.Truth { return d.Decision.Keep[c] }
	if model.Evaluate(p, keep) == interlock.True {
		return true, "it trips while its permissive is true"
	}
	if trip.Why&(interlock.ReasonNotMet|interlock.ReasonUnknown) != 0 && trip.FirstOut.Len() == 0 {
		return true, "the permissive tripped it and nothing is named"
	}
	trip.FirstOut.Each(func(c int) {
		switch want, known := model.Wanted(p, c); {
		case known && d.Decision.Keep[c] == want:
			said = v.Model.Cause(c) + " is named and was as it must be"
		case !known && !slices.Contains(chosen, c) && !v.evidenceOf(c, chosen) && !decides(p, c, keep):
			said = v.Model.Cause(c) + " is named and had nothing to do with it"
		}
	})
	named := trip.FirstOut
	for n := 0; n < 20 && said == ""; n++ {
		d.Healthy()
		if n%2 == 0 {
			d.In.Overrun = n%4 == 0
			d.Spoil((chosen[0]+1)%len(d.Decision.Keep), monitor.Open)
		}
		d.Turn()
		now := &d.State.Outputs[output]
		if now.Mode != interlock.Tripped {
			break // reset, or restarted by itself: what follows is another trip
		}
		if now.Trip.FirstOut != named {
			said = "the first-out changes while the trip stands"
		}
	}
	return true, said
}

func (v *verification) evidenceOf(channel int, chosen []int) bool {
	c := v.Model.Config
	if channel >= len(c.Channels) || c.Channels[channel].Evidence == 0 {
		return false
	}
	return slices.Contains(chosen, len(c.Channels)+int(c.Channels[channel].Evidence)-1)
}
