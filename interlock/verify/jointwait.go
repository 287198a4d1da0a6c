package verify

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
)

// sameAs names a vessel before this one whose search is the same, byte for byte, in
// everything that it depends on; empty if there is none. Only searches with one
// channel are compared.
func (j *jointly) sameAs(name string) string {
	key, ok := j.keyWith(name)
	for _, before := range j.Vessels() {
		if before == name || !ok {
			break
		}
		if have, ok := j.keyWith(before); ok && have == key {
			return before
		}
	}
	return ""
}

// keyWith is the key of the explicit search that the one with a vessel is, where
// there is one channel in it.
func (j *jointly) keyWith(name string) (key string, ok bool) {
	v := j.verification
	vessel := slices.Index(v.Model.Names.Vessels, name)
	channels := model.Union(v.Model.ChannelsOf(j.Number, -1), v.Model.ChannelsOf(j.Number, vessel))
	if len(channels) != 1 {
		return "", false
	}
	return v.job(searchWait, j.Number, channels[0], vessel).key, true
}

// waits searches the charge memory of one vessel after the other beside the
// channels, each in a search of its own.
func (j *jointly) waits() (*Result, error) {
	var list []jointAside
	done := map[string]jointAside{}
	for _, vessel := range j.Vessels() {
		one := jointAside{of: vessel}
		if same := j.sameAs(vessel); same != "" {
			one = done[same]
			one.of = vessel
		} else {
			with, err := j.WithVessel(vessel)
			if err != nil {
				err = one.set(NotShown, "", err)
			} else {
				err = one.set(joint.Wait(with, j.memory, j.progress))
			}
			if err != nil {
				return nil, err
			}
			done[vessel] = one
		}
		list = append(list, one)
	}
	return j.judgeWaits(list), nil
}

// judgeWaits says of property 8 what the searches of the vessels met, one after the
// other; nil if the output charges none.
func (j *jointly) judgeWaits(waits []jointAside) *Result {
	if len(waits) == 0 {
		return nil
	}
	v := j.begin()
	var states []string
	broken := ""
	for i := range waits {
		w := &waits[i]
		s := &Searched{Kind: searchWait, Output: j.Output, Channel: "all", Vessel: w.of, output: j.Number, key: jointKey, cutOff: w.cutOff}
		switch w.verdict {
		case Violated:
			broken = w.of
		case Shown:
			s.Hit = model.PropertyWait.Bit()
		}
		v.searches = append(v.searches, s)
		states = append(states, w.states+" with "+w.of)
	}
	var r *Result
	if broken != "" {
		r = j.met(model.PropertyWait, fmt.Sprintf("it is enabled while the wait of %s is owed", broken))
	} else if r = v.waits(j.Number); r.Verdict == Shown {
		r.Says = "joint states: " + strings.Join(states, ", ")
	}
	return j.finish(r, model.PropertyWait)
}

// begin forgets what another search met; lemmas are checked once.
func (j *jointly) begin() *verification {
	v := j.verification
	if v.searches = nil; v.report.Lemmas == nil {
		v.lemmas()
	}
	return v
}

// jointKey stands for the searches that a joint search takes the place of.
const jointKey = "joint"

// finish gives a result its words, and a run where one is found, as the explicit
// verification does.
func (j *jointly) finish(r *Result, number model.Property) *Result {
	v := j.verification
	p := v.property(number)
	r = v.conclude(p, j.Number, r, &p.Joint.Sampled)
	r.States, r.Steps = 0, 0
	return r
}
