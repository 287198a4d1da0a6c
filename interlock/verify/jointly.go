package verify

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// JointOutput is what was found of one output with all of its channels in full
// detail at once.
type JointOutput struct {
	Output     string            `json:"output"`
	Channels   []string          `json:"channels"`
	States     string            `json:"states,omitempty"` // past 64 bits, so a text
	Scans      int               `json:"scans"`
	Incomplete string            `json:"incomplete,omitempty"`
	Results    []Result          `json:"results"`
	Response   []Response        `json:"response"`
	NotJudged  map[string]string `json:"not_judged"` // property and why
	Taken      map[string]string `json:"taken"`      // property whose verdict is that of verify without --joint, and why
	Seconds    float64           `json:"seconds"`
}

// Jointly searches one output. A full table is no error: what was not searched is
// not shown.
func Jointly(m *model.Model, o model.Options, output int) (*JointOutput, error) {
	began := time.Now()
	one := &JointOutput{Output: m.Names.Outputs[output], NotJudged: map[string]string{}, Taken: map[string]string{}, Channels: []string{}}
	j, err := newJointly(m, o, output)
	if err == nil && len(j.Channels) > 0 {
		err = j.together(one)
	} else if err == nil {
		j.leave(one, "no channel is in its permissive")
	}
	if err == nil {
		err = j.aside(one)
	}
	one.Seconds = time.Since(began).Seconds()
	var cut *table.CutOff
	if errors.As(err, &cut) {
		one.Incomplete = cut.Error()
		return one, nil
	}
	return one, err
}

// jointly judges one output by what searches of all of its channels at once met.
type jointly struct {
	*joint.Problem
	verification *verification
	engine       *joint.Engine // when it has searched
	found        *joint.Found
	memory       uint64 // bytes
	progress     joint.Progress
}

func newJointly(m *model.Model, o model.Options, output int) (*jointly, error) {
	o.Outputs = []string{m.Names.Outputs[output]}
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	p, err := joint.Of(v.Bench, output, v.carriedBy(output, searchReset))
	if err != nil {
		return nil, err
	}
	return &jointly{Problem: p, verification: v, memory: o.MemoryLimit(), progress: func(scans, nodes int, bytes uint64) {
		if o.Progress != nil {
			o.Progress(0, 1, fmt.Sprintf("%s, scan %d, %d MB", p.Output, scans, bytes>>20), uint64(nodes))
		}
	}}, nil
}

// together searches the output beside all of its channels and judges what that can
// say.
func (j *jointly) together(one *JointOutput) error {
	for i := range j.Channels {
		one.Channels = append(one.Channels, j.Channels[i].Name)
	}
	err := j.search()
	if j.engine != nil {
		one.Scans = j.engine.Scans
	}
	if err != nil {
		return err
	}
	one.States = j.found.States
	one.Results, one.Response, err = j.judge()
	return err
}

// search runs the joint search. It lets go of its memory when the judging is done.
func (j *jointly) search() (err error) {
	if j.engine, err = joint.New(j.Problem, j.memory); err != nil {
		return err
	}
	if err = j.engine.Run(j.progress); err != nil {
		return err
	}
	j.found, err = j.engine.Found()
	return err
}

// aside judges what has a search of its own, when the first one has given back its
// memory.
func (j *jointly) aside(one *JointOutput) error {
	j.engine, j.found = nil, nil
	v := j.verification
	for i := range v.properties {
		p := &v.properties[i]
		if p.Joint.search == nil || !v.wants(p.Number.String()) {
			continue
		}
		r, err := p.Joint.search(j)
		if err != nil {
			return err
		}
		if r != nil {
			one.Results = append(one.Results, *r)
		}
	}
	slices.SortStableFunc(one.Results, func(a, b Result) int { return v.place(a.Property) - v.place(b.Property) })
	for i := range v.properties {
		if p := &v.properties[i]; p.Joint.Taken != "" && len(one.Channels) > 0 && v.wants(p.Number.String()) {
			one.Taken[p.Number.String()] = p.Joint.Taken
		}
	}
	return nil
}

// place is where a property stands in the table.
func (v *verification) place(name string) int {
	return slices.IndexFunc(v.properties, func(p Property) bool { return p.Number.String() == name })
}

// leave says that only what has a search of its own is judged. What was asked for by
// name beside it is not shown: its absence must not look like an answer.
func (j *jointly) leave(one *JointOutput, why string) {
	one.NotJudged["others"] = why
	for _, p := range j.verification.properties {
		if name := p.Number.String(); p.Joint.search == nil && slices.Contains(j.verification.Options.Properties, name) {
			one.Results = append(one.Results, Result{Property: name, Title: p.Title, Output: one.Output, Verdict: NotShown, Says: "not judged jointly: " + why})
		}
	}
}

// jointAside is what a search with the charge memory of one vessel, or with the
// timer of one bypass, met. What did not end is told as such.
type jointAside struct {
	of      string
	states  string // past 64 bits, so a text
	verdict Verdict
	cutOff  error
}

// set keeps what a search said; an error that is no cut-off is one of the program.
func (a *jointAside) set(said Verdict, states string, err error) error {
	a.verdict, a.states, a.cutOff = said, states, err
	if err != nil && !errors.As(err, new(*table.CutOff)) {
		return err
	}
	return nil
}

// longestResponse bounds the scans that a response may take.
const longestResponse = 100_000
