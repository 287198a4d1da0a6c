package main

import (
	"encoding/json"
	"fmt"
	"io"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// encode prints a document as JSON.
func encode(out io.Writer, document any) error {
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(document); err != nil {
		return failed(exitLost, "%w", err)
	}
	return nil
}

// jsonHead begins every JSON document of the verb.
type jsonHead struct {
	Schema int    `json:"schema"`
	Verb   string `json:"verb"`
	Tool   string `json:"tool"`
	Exit   int    `json:"exit"`
}

// siteHead begins those that are about a site.
type siteHead struct {
	jsonHead
	Site string `json:"site"`
	Hash string `json:"site_hash"`
}

func headOf(verb string, m *model.Model, code exitCode) siteHead {
	return siteHead{jsonHead{1, verb, toolVersion(), int(code)}, m.Site, m.Hash}
}

// selfCheck plants every mutant into the logic and shows that each is caught.
func selfCheck(out, errs io.Writer, o *verifyOptions) error {
	options, end := o.options(errs)
	report, err := verify.SelfCheck(options)
	end()
	if err != nil {
		return failed(exitInternal, "%w", err)
	}
	code := verdictCode(report.Verdict())
	if o.json {
		err := encode(out, struct {
			jsonHead
			*verify.SelfReport
		}{jsonHead{1, "verify --self-check", toolVersion(), int(code)}, report})
		if err != nil {
			return err
		}
		return ended(code)
	}
	tellSelfCheck(out, report)
	return ended(code)
}

func tellSelfCheck(out io.Writer, r *verify.SelfReport) {
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
		fmt.Fprintf(out, "%-10s %-16s %s\n", mark, c.Kind, clip(c.Mutant, verifyWidth-28))
	}
	fmt.Fprintln(out)
	for number := 1; number <= 15; number++ {
		names := r.ByProperty[fmt.Sprint(number)]
		if len(names) == 0 {
			fmt.Fprintf(out, "property %-2d catches NO mutant\n", number)
			continue
		}
		fmt.Fprintf(out, "property %-2d catches %2d, such as: %s\n", number, len(names), clip(names[0], verifyWidth-34))
	}
	fmt.Fprintf(out, "\nthe logic itself: %s; mutants caught: %d of %d\n", r.Unchanged, caught, len(r.Mutants))
	fmt.Fprintf(out, "verdict: %s\n", r.Verdict())
}
