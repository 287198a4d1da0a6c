package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// jointReport is the JSON document of verify --joint.
type jointReport struct {
	Schema  int                  `json:"schema"`
	Verb    string               `json:"verb"`
	Tool    string               `json:"tool"`
	Exit    int                  `json:"exit"`
	Verdict string               `json:"verdict"`
	Caution string               `json:"caution"`
	Site    string               `json:"site"`
	Hash    string               `json:"site_hash"`
	Outputs []verify.JointOutput `json:"outputs"`
	Own     []verify.Result      `json:"own"` // wanted of the site's own: none is judged jointly
}

// jointly searches every wanted output with all of its channels at once.
func jointly(out, errs io.Writer, m *model.Model, o *verifyOptions) error {
	options, end := o.options(errs)
	report := jointReport{Schema: 1, Verb: "verify --joint", Tool: toolVersion(), Caution: caution, Site: m.Site, Hash: m.Hash, Own: ownNotJudged(m, o)}
	all := verify.Report{}
	for i, name := range m.Names.Outputs {
		if len(o.outputs) > 0 && !isOneOf(o.outputs, name) {
			continue
		}
		one, err := verify.Jointly(m, options, i)
		if err != nil {
			end()
			return failed(exitInternal, "%w", err)
		}
		report.Outputs = append(report.Outputs, *one)
		all.Results = append(all.Results, one.Results...)
	}
	end()
	if o.runs != "" {
		if err := writeRuns(o.runs, m, &all); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	verdict := report.verdict()
	code := verdictCode(verdict)
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

// verdict is that of everything that was judged. What was cut off is not shown,
// and nothing at all is nothing checked.
func (r *jointReport) verdict() verify.Verdict {
	all, judged := verify.Shown, false
	for i := range r.Outputs {
		one := &r.Outputs[i]
		if one.Incomplete != "" {
			all, judged = verify.Worse(all, verify.NotShown), true
		}
		for k := range one.Results {
			all, judged = verify.Worse(all, one.Results[k].Verdict), true
		}
	}
	for i := range r.Own {
		all, judged = verify.Worse(all, r.Own[i].Verdict), true
	}
	if !judged {
		return verify.Nothing
	}
	return all
}

// ownNotJudged lists the wanted properties of the site's own. A joint search judges
// none of them, so none is shown: one may be violated.
func ownNotJudged(m *model.Model, o *verifyOptions) []verify.Result {
	results := []verify.Result{}
	for i := range m.Own {
		p, output := &m.Own[i], ""
		if p.Output >= 0 {
			output = m.Names.Outputs[p.Output]
		}
		if len(o.properties) > 0 && !isOneOf(o.properties, p.Name) || output != "" && len(o.outputs) > 0 && !isOneOf(o.outputs, output) {
			continue
		}
		results = append(results, verify.Result{Property: p.Name, Title: cmp.Or(p.Title, p.Kind), Output: output, Line: p.Line,
			Verdict: verify.NotShown, Says: "not judged jointly: a property of the site's own"})
	}
	return results
}

func tellJoint(out io.Writer, r *jointReport) {
	fmt.Fprintf(out, "%s: all channels of an output in full detail at once\n", r.Site)
	left := false
	for i := range r.Outputs {
		one := &r.Outputs[i]
		fmt.Fprintf(out, "\n%s, %s, %.1f s\n", one.Output, counted(len(one.Channels), "channel"), one.Seconds)
		if one.Incomplete != "" {
			tellWrapped(out, "  incomplete: ", one.Incomplete)
		}
		if one.States != "" {
			fmt.Fprintf(out, "  %s states, %s from power-up\n", one.States, counted(one.Scans, "scan"))
		}
		for k := range one.Results {
			tellProperty(out, &one.Results[k], true)
		}
		for k := range one.Response {
			tellJointResponse(out, &one.Response[k])
		}
		for _, name := range slices.SortedFunc(maps.Keys(one.Taken), byNumber) {
			tellWrapped(out, "  taken from verify: ", name+", "+one.Taken[name])
		}
		for _, name := range slices.SortedFunc(maps.Keys(one.NotJudged), byNumber) {
			tellWrapped(out, "  not judged jointly: ", name+", "+one.NotJudged[name])
			left = true
		}
	}
	if len(r.Own) > 0 {
		fmt.Fprintln(out, "\nthe site's own")
	}
	for i := range r.Own {
		tellProperty(out, &r.Own[i], true)
		left = true
	}
	fmt.Fprintf(out, "\nverdict: %s\n", r.Verdict)
	if left {
		tellWrapped(out, "", "It is that of what is listed with a verdict. verify without --joint judges the rest.")
	}
}

// byNumber puts 9 before 11.
func byNumber(a, b string) int {
	return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
}

func tellJointResponse(out io.Writer, x *verify.Response) {
	if x.Class != "any mixture" {
		return
	}
	set := strings.Join(x.Set, " and ")
	if x.Scans == model.Endless {
		tellWrapped(out, "  response: ", set+" bad: no bound")
		return
	}
	tellWrapped(out, "  response: ", fmt.Sprintf("%s bad: withheld at the latest in scan %d, %.1f ms, %s", set, x.Scans, x.Seconds*1000, x.Bound))
}
