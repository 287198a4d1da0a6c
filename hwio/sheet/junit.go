package sheet

import (
	"encoding/xml"
	"fmt"
	"io"

	"ohmgate/interlock/verdict"
)

type suites struct {
	XMLName  xml.Name `xml:"testsuites"`
	Name     string   `xml:"name,attr"`
	Tests    int      `xml:"tests,attr"`
	Failures int      `xml:"failures,attr"`
	Errors   int      `xml:"errors,attr"`
	Suites   []suite  `xml:"testsuite"`
}

type suite struct {
	Name     string `xml:"name,attr"`
	Tests    int    `xml:"tests,attr"`
	Failures int    `xml:"failures,attr"`
	Errors   int    `xml:"errors,attr"`
	Time     string `xml:"time,attr"`
	Cases    []unit `xml:"testcase"`
}

type unit struct {
	Name    string   `xml:"name,attr"`
	Class   string   `xml:"classname,attr"`
	Failure *trouble `xml:"failure,omitempty"`
	Error   *trouble `xml:"error,omitempty"`
}

type trouble struct {
	Message string `xml:"message,attr"`
	Type    string `xml:"type,attr"`
}

// WriteJUnit writes one suite per sheet. What could not be told is an error, never a skip: a machine that counts only
// failures must not read it as good.
func WriteJUnit(to io.Writer, sheets []Sheet) error {
	all := suites{Name: "ohmgate rig"}
	for index := range sheets {
		one := suiteOf(&sheets[index])
		all.Tests, all.Failures, all.Errors = all.Tests+one.Tests, all.Failures+one.Failures, all.Errors+one.Errors
		all.Suites = append(all.Suites, one)
	}
	if _, err := io.WriteString(to, xml.Header); err != nil {
		return err
	}
	encoder := xml.NewEncoder(to)
	encoder.Indent("", "  ")
	if err := encoder.Encode(all); err != nil {
		return err
	}
	_, err := io.WriteString(to, "\n")
	return err
}

func suiteOf(s *Sheet) suite {
	made := suite{Name: fmt.Sprintf("%s run %d of %d (%s)", s.Head.Scenario, s.Head.Run, s.Head.Runs, s.Begun)}
	last := 0.0
	for _, check := range s.Checks {
		made.add(check.Name, s.Head.Scenario, Finding(check.Verdict), check.Text)
	}
	for _, step := range s.Steps {
		made.add(fmt.Sprintf("%s %s at %.3f s", step.Output, step.Change, step.At), s.Head.Scenario, step.Verdict, step.Text)
		last = max(last, step.At)
	}
	if len(s.Steps) == 0 {
		made.add("steps", s.Head.Scenario, Finding(verdict.NothingChecked), "no step of this run was judged: "+endReason(s))
	} else if s.Verdict() == verdict.NotShown {
		made.add("run", s.Head.Scenario, Finding(verdict.NotShown), endReason(s)) // broken off, perhaps, with every step so far consistent
	}
	for _, e := range s.expected() {
		if e.Verdict != NotJudged { // that is no verdict, neither good nor bad
			made.add(fmt.Sprintf("expectation on %s: %s", e.On, e.Text), s.Head.Scenario, e.Verdict, e.Where+": "+e.Detail)
		}
	}
	state := Consistent
	if s.State() == StateUnknown {
		state = Finding(verdict.NotShown)
	}
	made.add("rig after the run", s.Head.Scenario, state, s.State()+": "+endReason(s))
	made.Time = fmt.Sprintf("%.3f", last)
	return made
}

func (s *suite) add(name, class string, found Finding, text string) {
	one := unit{Name: name, Class: class}
	switch found.Verdict() {
	case verdict.Shown:
	case verdict.Violated:
		one.Failure = &trouble{Message: text, Type: string(found)}
		s.Failures++
	default:
		one.Error = &trouble{Message: text, Type: string(found)}
		s.Errors++
	}
	s.Tests++
	s.Cases = append(s.Cases, one)
}
