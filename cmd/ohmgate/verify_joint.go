package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// jointReport is the JSON document of verify --joint.
type jointReport struct {
	jsonHead
	Verdict verdict.Verdict      `json:"verdict"`
	Caution string               `json:"caution"`
	Site    string               `json:"site"`
	Hash    string               `json:"site_hash"`
	Outputs []verify.JointOutput `json:"outputs"`
	Own     []verify.Result      `json:"own"` // wanted of the site's own: none is judged jointly
}

// jointly searches every wanted output with all of its channels at once.
func jointly(out, errs io.Writer, m *model.Model, o *verifyOptions) error {
	options, end := o.options(errs)
	report := jointReport{jsonHead: jsonHead{Head: headed(1, "verify --joint")}, Caution: caution, Site: m.Site, Hash: m.Hash, Own: ownNotJudged(m, o)}
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
	report.Verdict = report.judge()
	report.Exit = report.Verdict.Exit()
	return finish(out, o.json, report.Exit, report, func(p *page.Page) { tellJoint(p, &report) })
}

// judge is the verdict of everything that was judged. What was cut off is not shown,
// and nothing at all is nothing checked.
func (r *jointReport) judge() verdict.Verdict {
	var all []verdict.Verdict
	for i := range r.Outputs {
		one := &r.Outputs[i]
		if one.Incomplete != "" {
			all = append(all, verdict.NotShown)
		}
		for k := range one.Results {
			all = append(all, one.Results[k].Verdict)
		}
	}
	for i := range r.Own {
		all = append(all, r.Own[i].Verdict)
	}
	return verdict.Worst(all...)
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
			Verdict: verdict.NotShown, Says: "not judged jointly: a property of the site's own"})
	}
	return results
}

func tellJoint(out *page.Page, r *jointReport) {
	fmt.Fprintf(out, "%s: all channels of an output in full detail at once\n", r.Site)
	left := false
	for i := range r.Outputs {
		one := &r.Outputs[i]
		fmt.Fprintf(out, "\n%s, %s, %.1f s\n", one.Output, counted(len(one.Channels), "channel"), one.Seconds)
		if one.Incomplete != "" {
			out.Hang("  incomplete: ", one.Incomplete)
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
			out.Hang("  taken from verify: ", name+", "+one.Taken[name])
		}
		for _, name := range slices.SortedFunc(maps.Keys(one.NotJudged), byNumber) {
			out.Hang("  not judged jointly: ", name+", "+one.NotJudged[name])
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
		out.Hang("", "It is that of what is listed with a verdict. verify without --joint judges the rest.")
	}
}

// byNumber puts 9 before 11.
func byNumber(a, b string) int {
	return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
}

func tellJointResponse(out *page.Page, x *verify.Response) {
	if x.Class != "any mixture" {
		return
	}
	set := strings.Join(x.Set, " and ")
	if x.Scans == model.Endless {
		out.Hang("  response: ", set+" bad: no bound")
		return
	}
	out.Hang("  response: ", fmt.Sprintf("%s bad: withheld at the latest in scan %d, %.1f ms, %s", set, x.Scans, x.Seconds*1000, x.Bound))
}
