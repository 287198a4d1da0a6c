package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// inverted judges the channels that a permissive reads under a NOT or an XOR. There a
// bond ends a run, and what keeps a connection from bonding prolongs it: a few
// unusable readings while it settles do. That a channel with less to hear is never
// fitter says nothing of them, so they are tried on the whole site.
func (v *verification) inverted(output int, r *Result) *Result {
	p := v.Model.Config.Outputs[output].Permissive
	for _, ch := range v.Model.ChannelsOf(output, -1) {
		if value, known := model.Wanted(p, ch); known && value == interlock.True {
			continue
		}
		name := v.Model.Names.Channels[ch]
		s := v.Start(output)
		if !s.Runs {
			return &Result{Verdict: Nothing, Says: "a healthy plant never brought it to run, so nothing was exercised"}
		}
		r.Verdict, r.Says = NotShown, name+" is read inverted: whether unusable readings prolong a run by keeping it from bonding was not found out"
		whole, _ := v.connected(s, ch, nil)
		for at := range whole {
			for _, class := range [...]monitor.Class{monitor.Invalid, monitor.Missing} {
				broken := func(scan int) monitor.Class {
					if scan >= at && scan < at+int(v.Model.Config.Channels[ch].SettlePause) {
						return class
					}
					return monitor.Good
				}
				if n, record := v.connected(s, ch, broken); n > whole {
					return v.prolonged(output, ch, class, s, whole, n, record)
				}
			}
		}
	}
	return r
}

// connected lets one channel read good, but for what broken says of a scan, from where
// the output runs, and counts the scans until it is withheld.
func (v *verification) connected(s *runs.Started, ch int, broken func(scan int) monitor.Class) (scans int, record *runs.Recorder) {
	d, record := s.From()
	c := &v.Model.Config.Channels[ch].Config
	limit := 4 * int(runs.PatienceOf(v.Model.Config))
	for ; d.Enabled() && scans < limit; scans++ {
		d.Healthy()
		class := monitor.Good
		if broken != nil {
			class = broken(scans)
		}
		d.In.Readings[ch] = table.ReadingOf(c, class, d.Stamp)
		record.Turn(d)
	}
	return scans, record
}

// prolonged is the violation that a run shows beside the one without it.
func (v *verification) prolonged(output, ch int, class monitor.Class, s *runs.Started, whole, scans int, record *runs.Recorder) *Result {
	name, channel := v.Model.Names.Outputs[output], v.Model.Names.Channels[ch]
	from := record.Scans - uint64(scans)
	says := fmt.Sprintf("%s is read inverted: put on, it withholds %s in the %s scan; with %s readings in place of good ones in the %s", channel, name, nth(model.Scans(whole)), class, nth(model.Scans(scans)))
	run := record.Finish(says, 1)
	run.Property, run.Output = model.PropertyUnknown.String(), name
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", whole, from, name)
	run.Slice = []string{"reading of " + channel, "counter: settle pauses", "rule: " + name + " and its permissive"}
	return &Result{Verdict: Violated, Says: says, Counterexample: run}
}
