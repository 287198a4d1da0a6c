package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// A hunt looks for a run of the real logic on the whole site that violates
// something. It lets one thing go wrong while everything else is well, then two
// at once, each for as long as it takes. What it finds has been replayed by the
// very finding: minimal in faults first, then in time.

// deviation is one thing that is not well for a while.
type deviation struct {
	cause int
	class monitor.Class   // of a channel
	value interlock.Truth // of an input
	none  bool            // of an input: nothing arrives
}

func (v *verification) deviations(causes []int) []deviation {
	var list []deviation
	channels := len(v.model.Config.Channels)
	for _, c := range causes {
		switch {
		case c < channels:
			can := possible(&v.model.Config.Channels[c].Config)
			for _, class := range [...]monitor.Class{monitor.Open, monitor.High, monitor.Invalid, monitor.Missing, monitor.Between} {
				if can[class] {
					list = append(list, deviation{cause: c, class: class})
				}
			}
		case c < channels+len(v.model.Config.Inputs):
			for _, value := range truths {
				list = append(list, deviation{cause: c, value: value})
			}
			list = append(list, deviation{cause: c, none: true})
		}
	}
	return list
}

func (d *driver) deviate(x deviation) {
	if x.cause < len(d.config.Channels) {
		d.in.Readings[x.cause] = readingOf(&d.config.Channels[x.cause].Config, x.class, d.stamp)
		d.spoilt[x.cause] = x.class != monitor.Good && x.class != monitor.Between
		return
	}
	input := x.cause - len(d.config.Channels)
	d.in.Signals[input] = d.signal(input, x.value)
	if x.none {
		d.in.Signals[input] = interlock.NoSignal
	}
}

func (v *verification) deviationText(x deviation) string {
	switch {
	case x.cause < len(v.model.Config.Channels):
		return fmt.Sprintf("%s reads %s", v.model.cause(x.cause), x.class)
	case x.none:
		return v.model.cause(x.cause) + " does not arrive"
	}
	return fmt.Sprintf("%s is %s", v.model.cause(x.cause), levelText(x.value))
}

// huntLimit bounds the scans of one hunt.
const huntLimit = 400_000

// hunt looks for a scan in which bad is true. From there on the run is shown.
// driver.touched is the number of scans since something went wrong.
func (v *verification) hunt(output int, causes []int, limit Scans, bad func(*driver) bool) *Run {
	s := v.start(output)
	if !s.runs {
		s = &started{driver: newDriver(v.logic, v.model.Config, output), record: newRecorder(v.model)}
	}
	list := v.deviations(causes)
	spent := uint64(0)
	for size := 1; size <= 2; size++ {
		var best *Run
		shortest := limit
		index := make([]int, len(list))
		for i := range index {
			index[i] = i
		}
		choose(index, size, nil, func(chosen []int) {
			if spent > huntLimit {
				return
			}
			xs := make([]deviation, size)
			for i, k := range chosen {
				xs[i] = list[k]
			}
			if size == 2 && xs[0].cause == xs[1].cause {
				return
			}
			n, found := v.follow(s, xs, shortest, bad)
			spent += uint64(n)
			if found && (best == nil || n < shortest) {
				shortest, best = n, v.tellHunt(s, xs, n)
			}
		})
		if best != nil {
			return best
		}
	}
	return nil
}

// follow lets some things be wrong for up to so many scans.
func (v *verification) follow(s *started, xs []deviation, limit Scans, bad func(*driver) bool) (Scans, bool) {
	d, _ := s.from()
	d.touched = 0
	bad(d) // resets what it remembers
	for n := Scans(1); n <= limit; n++ {
		d.touched = n
		d.healthy()
		for _, x := range xs {
			d.deviate(x)
		}
		d.turn()
		if bad(d) {
			return n, true
		}
	}
	return limit, false
}

// tellHunt turns the same run once more and keeps it.
func (v *verification) tellHunt(s *started, xs []deviation, scans Scans) *Run {
	d, record := s.from()
	text := ""
	for i, x := range xs {
		if i > 0 {
			text += " and "
		}
		text += v.deviationText(x)
	}
	from := record.scans
	for n := Scans(0); n < scans; n++ {
		d.healthy()
		for _, x := range xs {
			d.deviate(x)
		}
		record.turn(d)
	}
	run := record.finish(fmt.Sprintf("from scan %d on %s", from, text), len(xs))
	run.Expect = fmt.Sprintf("{never: %s is enabled, from: %d scans, to: %d scans}", v.model.Names.Outputs[d.target], run.Scans-1, run.Scans)
	for _, x := range xs {
		run.Slice = append(run.Slice, v.deviationText(x))
	}
	run.Slice = append(run.Slice, "rule: permissive of "+v.model.Names.Outputs[d.target])
	return run
}
