package main

import (
	"fmt"
	"io"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// jsonHead begins every JSON document of the verb.
type jsonHead struct {
	verdict.Head[int]
	Exit verdict.Exit `json:"exit"`
}

// siteHead begins those that are about a site.
type siteHead struct {
	jsonHead
	Site string `json:"site"`
	Hash string `json:"site_hash"`
}

func headOf(verb string, m *model.Model, code exitCode) siteHead {
	return siteHead{jsonHead{headed(1, verb), code}, m.Site, m.Hash}
}

// selfCheck plants every mutant into the logic and shows that each is caught.
func selfCheck(out, errs io.Writer, o *verifyOptions) error {
	options, end := o.options(errs)
	report, err := verify.SelfCheck(options)
	end()
	if err != nil {
		return failed(exitInternal, "%w", err)
	}
	code := report.Verdict().Exit()
	return finish(out, o.json, code, struct {
		jsonHead
		*verify.SelfReport
	}{jsonHead{headed(1, "verify --self-check"), code}, report}, func(p *page.Page) { tellSelfCheck(p, report) })
}

func tellSelfCheck(out *page.Page, r *verify.SelfReport) {
	caught, kind := 0, ""
	for _, c := range r.Mutants {
		if c.Kind != kind {
			kind = c.Kind
		}
		mark := "NOT CAUGHT"
		if c.Caught {
			caught++
			mark = "caught"
		}
		fmt.Fprintf(out, "%-10s %-16s %s\n", mark, c.Kind, page.Cut(c.Mutant, page.Width-28))
	}
	fmt.Fprintln(out)
	for _, p := range verify.Properties() {
		names := r.ByProperty[p.Number.String()]
		if len(names) == 0 {
			fmt.Fprintf(out, "property %-2s catches NO mutant\n", p.Number)
			continue
		}
		fmt.Fprintf(out, "property %-2s catches %2d, such as: %s\n", p.Number, len(names), page.Cut(names[0], page.Width-34))
	}
	fmt.Fprintf(out, "\nthe logic itself: %s; mutants caught: %d of %d\n", r.Unchanged, caught, len(r.Mutants))
	fmt.Fprintf(out, "verdict: %s\n", r.Verdict())
}
