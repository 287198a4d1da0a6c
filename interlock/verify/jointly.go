package verify

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
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
		one.leave(o.Properties, "no channel is in its permissive")
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
	p, err := joint.Of(v.Bench, output)
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
	for _, property := range [...]struct {
		number int
		judge  func() (*Result, error)
	}{{8, j.waits}, {11, j.bypasses}, {9, j.unknown}} {
		if !j.verification.wants(strconv.Itoa(property.number)) {
			continue
		}
		r, err := property.judge()
		if err != nil {
			return err
		}
		if r != nil {
			one.Results = append(one.Results, *r)
		}
	}
	slices.SortStableFunc(one.Results, func(a, b Result) int { return number(a.Property) - number(b.Property) })
	for n, why := range j.taken() {
		if name := strconv.Itoa(n); len(one.Channels) > 0 && j.verification.wants(name) {
			one.Taken[name] = why
		}
	}
	return nil
}

// number is the place of a default property among all; the site's own come last.
func number(property string) int {
	if n, err := strconv.Atoi(property); err == nil {
		return n
	}
	return len(titles)
}

// leave says that only what has a search of its own is judged. What was asked for by
// name beside it is not shown: its absence must not look like an answer.
func (one *JointOutput) leave(asked []string, why string) {
	one.NotJudged["others"] = why
	for _, name := range asked {
		if n, err := strconv.Atoi(name); err == nil && !slices.Contains([]int{8, 9, 11}, n) {
			one.Results = append(one.Results, Result{Property: name, Title: titles[n], Output: one.Output, Verdict: NotShown, Says: "not judged jointly: " + why})
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
