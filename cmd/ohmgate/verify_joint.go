package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/joint"
)

// jointReport is the JSON document of verify --joint.
type jointReport struct {
	Schema  int           `json:"schema"`
	Verb    string        `json:"verb"`
	Tool    string        `json:"tool"`
	Exit    int           `json:"exit"`
	Verdict string        `json:"verdict"`
	Caution string        `json:"caution"`
	Site    string        `json:"site"`
	Hash    string        `json:"site_hash"`
	Outputs []jointOutput `json:"outputs"`
}

// jointOutput is what was found of one output.
type jointOutput struct {
	Output     string          `json:"output"`
	Channels   []string        `json:"channels"`
	States     string          `json:"states,omitempty"` // past 64 bits, so a text
	Scans      int             `json:"scans"`
	Incomplete string          `json:"incomplete,omitempty"`
	Results    []jointResult   `json:"results"`
	Response   []jointResponse `json:"response"`
	Seconds    float64         `json:"seconds"`
}

type jointResult struct {
	Property string         `json:"property"`
	Title    string         `json:"title"`
	Verdict  verify.Verdict `json:"verdict"`
}

// jointResponse is the longest that the output runs on while the whole set is
// bad, over every joint history.
type jointResponse struct {
	Set   []string `json:"set"`
	Scans int      `json:"scans"` // -1: no bound
}

// jointly searches every wanted output with all of its channels at once.
func jointly(out, errs io.Writer, m *verify.Model, o *verifyOptions) error {
	options, _, err := o.options(errs)
	if err != nil {
		return err
	}
	report := jointReport{Schema: 1, Verb: "verify --joint", Tool: toolVersion(), Caution: caution, Site: m.Site, Hash: m.Hash}
	code, verdict := exitShown, verify.Shown
	for i, name := range m.Names.Outputs {
		if len(o.outputs) > 0 && !isOneOf(o.outputs, name) {
			continue
		}
		one, worst, err := jointOne(m, options, i)
		if err != nil {
			return failed(exitInternal, "%w", err)
		}
		if one == nil {
			continue // no channel hangs on it
		}
		code, verdict = worse(code, verdictCode(worst)), verify.Worse(verdict, worst)
		report.Outputs = append(report.Outputs, *one)
	}
	if len(report.Outputs) == 0 {
		code, verdict = exitNothing, verify.Nothing
	}
	report.Exit, report.Verdict = int(code), string(verdict)
	if o.json {
		if err := encode(out, report); err != nil {
			return err
		}
		return ended(code)
	}
	tellJoint(out, &report)
	return ended(code)
}

// jointOne searches one output. A full table is no error: what was not searched
// is not shown.
func jointOne(m *verify.Model, options verify.Options, output int) (*jointOutput, verify.Verdict, error) {
	began := time.Now()
	j, err := verify.JointOf(m, options, output)
	if err != nil || len(j.Channels) == 0 {
		return nil, verify.Nothing, err
	}
	one := &jointOutput{Output: j.Output}
	for i := range j.Channels {
		one.Channels = append(one.Channels, j.Channels[i].Name)
	}
	worst, err := one.search(m, j, options, output)
	one.Seconds = time.Since(began).Seconds()
	var cut *verify.CutOff
	if errors.As(err, &cut) {
		one.Incomplete = cut.Where
		return one, verify.Worse(worst, verify.NotShown), nil
	}
	return one, worst, err
}

func (one *jointOutput) search(m *verify.Model, j *verify.Joint, options verify.Options, output int) (verify.Verdict, error) {
	e, err := joint.New(j, options.Memory)
	if err != nil {
		return verify.NotShown, err
	}
	err = e.Run(nil)
	one.Scans = e.Scans
	if err != nil {
		return verify.NotShown, err
	}
	one.States = e.States().String()
	worst, checked := verify.Shown, false
	for _, n := range joint.Properties {
		if len(options.Properties) > 0 && !isOneOf(options.Properties, fmt.Sprint(n)) || !j.Judges(n) {
			continue
		}
		verdict, err := e.Verdict(n)
		if err != nil {
			return verify.NotShown, err
		}
		checked = true
		worst = verify.Worse(worst, verdict)
		one.Results = append(one.Results, jointResult{fmt.Sprint(n), verify.TitleOf(n), verdict})
	}
	if !checked {
		return verify.Nothing, nil
	}
	return worst, one.respond(m, e, output)
}

// longestJoint bounds the scans that a response may take.
const longestJoint = 100_000

// respond measures every cut set that is made of channels alone.
func (one *jointOutput) respond(m *verify.Model, e *joint.Engine, output int) error {
	for _, set := range verify.CutSets(m.Config.Outputs[output].Permissive) {
		var names []string
		for _, cause := range set {
			if cause < len(m.Names.Channels) {
				names = append(names, m.Names.Channels[cause])
			}
		}
		if len(names) < len(set) {
			continue // an input belongs to it
		}
		scans, err := e.Response(names, longestJoint)
		if err != nil {
			return err
		}
		one.Response = append(one.Response, jointResponse{names, scans})
	}
	return nil
}

func tellJoint(out io.Writer, r *jointReport) {
	fmt.Fprintf(out, "%s: all channels of an output in full detail at once\n", r.Site)
	for i := range r.Outputs {
		one := &r.Outputs[i]
		fmt.Fprintf(out, "\n%s, %d channels, %.1f s\n", one.Output, len(one.Channels), one.Seconds)
		if one.Incomplete != "" {
			fmt.Fprintf(out, "  incomplete: %s; raise --memory\n", one.Incomplete)
		}
		if one.States != "" {
			fmt.Fprintf(out, "  %s states, %d scans from power-up\n", one.States, one.Scans)
		}
		for _, result := range one.Results {
			fmt.Fprintf(out, "  %-15s %2s  %s\n", result.Verdict, result.Property, result.Title)
		}
		for _, response := range one.Response {
			bound := fmt.Sprintf("withheld at the latest in scan %d", response.Scans)
			if response.Scans == joint.Endless {
				bound = "no bound (a bypass may stand in)"
			}
			fmt.Fprintf(out, "  %s while bad: %s\n", bound, shortList(response.Set, 30))
		}
	}
	fmt.Fprintf(out, "\n%s\n", r.Verdict)
}

// shortList is a list of names that fits a line.
func shortList(names []string, width int) string {
	text := ""
	for i, name := range names {
		if len(text)+len(name) > width {
			return fmt.Sprintf("%s and %d more", text, len(names)-i)
		}
		if i > 0 {
			text += ", "
		}
		text += name
	}
	return text
}
