package wiring

import (
	"fmt"
	"sort"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
)

// FitToStimulate refuses a map on which no output is read, or a judged output hangs on something that is not wired.
func (m *Map) FitToStimulate(logic *interlock.Config) error {
	var problems site.Problems
	at := m.Site.At("rig.points")
	complain := func(text, instead string) {
		problems = append(problems, site.Problem{File: m.Site.File, Line: at.Line, Column: at.Column, Text: text, Instead: instead})
	}
	judged := 0
	for output, contact := range m.Contacts {
		if contact == nil {
			continue
		}
		judged++
		name := m.Site.Outputs[output].Name
		for _, cause := range sortedNames(m.Cone(logic, output)) {
			part, number := Find(m.Site, cause)
			if part == Channel && !m.Plays(number) || part == Input && m.Drives[number] == nil {
				complain(fmt.Sprintf("%q is read, and hangs on %q, which nothing drives", name, cause), fmt.Sprintf("add a point {name: %s, use: drives, …}, or do not read %s", cause, name))
			}
		}
	}
	if len(m.Loops) == 0 {
		complain("no relay has a loop-back input, and without one no time can be believed", "wire a second contact of a relay to an input: {name: an input of the site, module: an input module, use: loopback, …}")
	}
	if judged == 0 {
		complain("no contact of the unit is read, so nothing could be judged", "add a point {name: an output, module: an input module, use: reads, …}")
	}
	return problems.Err()
}

func sortedNames(set map[string]bool) []string {
	list := make([]string, 0, len(set))
	for name := range set {
		list = append(list, name)
	}
	sort.Strings(list)
	return list
}

// FitToStandIn refuses a map on which a stand-in would be blind or dumb: every cause of an output that is driven must be read.
func (m *Map) FitToStandIn(logic *interlock.Config) error {
	for output, relay := range m.Moves {
		if relay == nil {
			continue
		}
		for _, name := range sortedNames(m.Cone(logic, output)) {
			part, number := Find(m.Site, name)
			if part == Channel && m.Channels[number].Reads == nil || part == Input && m.Hears[number] == nil {
				return fmt.Errorf("rig map: %q is driven and hangs on %q, which nothing reads: add a point {name: %s, use: reads, …}", m.Site.Outputs[output].Name, name, name)
			}
		}
	}
	return nil
}
