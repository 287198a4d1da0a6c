package main

import (
	"encoding/xml"
	"fmt"
	"io"

	"ohmgate/interlock/verdict"
	"ohmgate/sim"
)

type junitSuites struct {
	XMLName  xml.Name     `xml:"testsuites"`
	Name     string       `xml:"name,attr"`
	Tests    int          `xml:"tests,attr"`
	Failures int          `xml:"failures,attr"`
	Errors   int          `xml:"errors,attr"`
	Suites   []junitSuite `xml:"testsuite"`
}

type junitSuite struct {
	Name     string      `xml:"name,attr"`
	Tests    int         `xml:"tests,attr"`
	Failures int         `xml:"failures,attr"`
	Errors   int         `xml:"errors,attr"`
	Time     string      `xml:"time,attr"`
	Cases    []junitCase `xml:"testcase"`
}

type junitCase struct {
	Name    string        `xml:"name,attr"`
	Class   string        `xml:"classname,attr"`
	Time    string        `xml:"time,attr"`
	Failure *junitProblem `xml:"failure,omitempty"`
	Error   *junitProblem `xml:"error,omitempty"`
}

type junitProblem struct {
	Message string `xml:"message,attr"`
	Type    string `xml:"type,attr"`
	Text    string `xml:",chardata"`
}

// writeJUnit writes every expectation as a test case. "Nothing checked" is an
// error there: a skipped case would look harmless.
func writeJUnit(w io.Writer, results []*sim.Result) error {
	suites := junitSuites{Name: "ohmgate simulate"}
	for _, r := range results {
		suite := junitSuite{Name: r.Scenario.Name, Time: fmt.Sprintf("%.3f", float64(r.Scans)*r.Period.Seconds())}
		if len(r.Outcomes) == 0 {
			suite.add(junitCase{Name: "expectations", Class: r.Scenario.Name, Time: "0", Error: &junitProblem{Message: "the scenario expects nothing", Type: verdict.NothingChecked.String()}})
		}
		for i := range r.Outcomes {
			suite.add(junitOutcome(r, &r.Outcomes[i]))
		}
		suites.Tests += suite.Tests
		suites.Failures += suite.Failures
		suites.Errors += suite.Errors
		suites.Suites = append(suites.Suites, suite)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	encoder := xml.NewEncoder(w)
	encoder.Indent("", "  ")
	if err := encoder.Encode(suites); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func (s *junitSuite) add(c junitCase) {
	s.Tests++
	if c.Failure != nil {
		s.Failures++
	}
	if c.Error != nil {
		s.Errors++
	}
	s.Cases = append(s.Cases, c)
}

func junitOutcome(r *sim.Result, o *sim.Outcome) junitCase {
	c := junitCase{Name: o.Expectation.Text, Class: r.Scenario.Name, Time: fmt.Sprintf("%.3f", float64(o.Scan)*r.Period.Seconds())}
	problem := &junitProblem{
		Message: o.Detail, Type: o.Verdict.String(),
		Text: fmt.Sprintf("%s:%d: %s at %s: %s", r.Scenario.File, o.Expectation.Place.Line, o.Verdict, at(o.Scan, r.Period), o.Detail),
	}
	switch o.Verdict {
	case verdict.Violated:
		c.Failure = problem
	case verdict.NothingChecked:
		c.Error = problem
	}
	return c
}
