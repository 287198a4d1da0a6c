package verify

import (
	"fmt"
	"math/big"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// JointPairs is what a search of one channel beside itself met: the one hears what
// it hears, the other any part of it.
type JointPairs struct {
	Pairs  *big.Int
	Wrong  string // how the one that hears less fares better; empty if it never does
	Kept   bool   // the one that hears less was seen to stay fit at all
	CutOff error
}

// Node is what the logic says of one node of a permissive, whatever stands below.
func (j *Joint) Node(n *interlock.Node, values []interlock.Truth) interlock.Truth {
	small, args := make(interlock.Permissive, len(values)+1), make([]int, len(values))
	for i := range values {
		small[i], args[i] = interlock.Node{Op: interlock.OpCause, Cause: i}, i
	}
	small[len(values)] = interlock.Node{Op: n.Op, M: n.M, Args: args}
	return j.verification.Logic.Eval(small, values)
}

// Endless is a channel that doubtful readings alone never bring to its longest
// stay: of two that are compared, the one that hears less has been doubtful for at
// least as long.
func (j *Joint) Endless(c *JointChannel) (*table.ChannelTable, error) {
	endless := *c.Table.Config
	endless.LongestStay = monitor.ScansMax
	return table.TabulateWith(j.verification.Logic, &endless, model.Cells{First: []model.Scans{0}}, j.verification.Options.MemoryLimit())
}

// JudgeUnknown says of property 9 what was met over all joint letters, and by every
// different channel of the output beside itself.
func (j *Joint) JudgeUnknown(said string, pairs map[string]JointPairs) *Result {
	v := j.begin()
	r := v.unknown(j.output)
	if r.Verdict == Shown && said != "" {
		r = j.met(9, said)
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
			r = j.met(9, j.Channels[i].Name+": "+p.Wrong)
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
	return j.finish(r, 9)
}
