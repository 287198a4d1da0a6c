package verify

import (
	"errors"
	"fmt"
	"math/big"

	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// unknown judges property 9: the joint letters, and every different channel beside
// itself.
func (j *jointly) unknown() (*Result, error) {
	said, err := joint.Letters(j.Problem, j.memory)
	if err != nil {
		return nil, err
	}
	known, by := map[*table.ChannelTable]joint.SideBySide{}, map[string]joint.SideBySide{}
	for i := range j.Channels {
		c := &j.Channels[i]
		found, ok := known[c.Table]
		if !ok {
			t, err := j.Endless(c)
			if err == nil {
				found, err = joint.Pairs(t, j.memory)
			}
			if err != nil && !errors.As(err, new(*table.CutOff)) {
				return nil, fmt.Errorf("%s: %w", c.Name, err)
			}
			found.CutOff = err
			known[c.Table] = found
		}
		by[c.Name] = found
	}
	return j.judgeUnknown(said, by), nil
}

// judgeUnknown says of property 9 what was met over all joint letters, and by every
// different channel of the output beside itself.
func (j *jointly) judgeUnknown(said string, pairs map[string]joint.SideBySide) *Result {
	v := j.begin()
	r := v.unknown(j.Number)
	if r.Verdict == Shown && said != "" {
		r = j.met(model.PropertyUnknown, said)
	}
	sum, kept := new(big.Int), len(pairs) == 0
	for i := range j.Channels {
		p, ok := pairs[j.Channels[i].Name]
		if !ok || r.Verdict != Shown {
			continue
		}
		switch {
		case p.CutOff != nil:
			r.Verdict, r.Says = NotShown, p.CutOff.Error()
		case p.Wrong != "":
			r = j.met(model.PropertyUnknown, j.Channels[i].Name+": "+p.Wrong)
		default:
			sum.Add(sum, p.Pairs)
			kept = kept || p.Kept
		}
	}
	if r.Verdict == Shown {
		r.Says = "every joint letter of the permissive"
		if len(pairs) > 0 {
			r.Says += fmt.Sprintf(", %v pairs of states of a channel with and without some of its readings", sum)
		}
		if !kept {
			r.Verdict, r.Says = Nothing, "no channel stays fit with a reading less"
		}
	}
	return j.finish(r, model.PropertyUnknown)
}
