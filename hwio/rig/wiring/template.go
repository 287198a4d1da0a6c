package wiring

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"ohmgate/hwio/scpi"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// commandKeys are the keys of a module's commands: what is sent, and as "…_answer" the pattern of what must come back.
var commandKeys = []string{
	"start", "set", "set_answer", "read_set", "read_set_answer", "measure", "measure_answer", "overload_words", "overload_from", "error",
}

// Template is how an instrument is spoken to, from its commands in the site file. Start holds several commands between bars:
// "*CLS | *RST".
func Template(m *site.RigModule) (made scpi.Template, wrong string) {
	var unknown []string
	for key := range m.Commands {
		if !slices.Contains(commandKeys, key) {
			unknown = append(unknown, key)
		}
	}
	if sort.Strings(unknown); len(unknown) > 0 {
		return made, fmt.Sprintf("unknown command %q of %q", unknown[0], m.Name)
	}
	made = scpi.Template{
		Name: m.Name, Identity: m.Identify, ErrorQuestion: m.Commands["error"],
		Set:      scpi.Command{Send: m.Commands["set"], Expect: m.Commands["set_answer"]},
		ReadSet:  scpi.Command{Send: m.Commands["read_set"], Expect: m.Commands["read_set_answer"]},
		Measure:  scpi.Command{Send: m.Commands["measure"], Expect: m.Commands["measure_answer"]},
		Overload: scpi.Overload{From: m.Commands["overload_from"]},
	}
	for _, one := range strings.Split(m.Commands["start"], "|") {
		if one = strings.TrimSpace(one); one != "" {
			made.Start = append(made.Start, scpi.Command{Send: one})
		}
	}
	for _, word := range strings.Split(m.Commands["overload_words"], "|") {
		if word = strings.TrimSpace(word); word != "" {
			made.Overload.Words = append(made.Overload.Words, word)
		}
	}
	if m.Kind == KindMeter && made.Measure.Send == "" {
		standard := scpi.Meter(m.Name)
		made.Measure, made.Start = standard.Measure, append(made.Start, standard.Start...)
	}
	if m.Kind == KindDecade && made.Set.Send == "" {
		return made, fmt.Sprintf("the decade %q has no command set: SCPI agrees on none, so write the device's own, such as \"RES {ohms}\"", m.Name)
	}
	made = made.WithDefaults()
	if errs := made.Check(); len(errs) > 0 {
		return made, errs[0].Error()
	}
	return made, ""
}

// Ohms is a resistance for people.
func Ohms(v monitor.Microohm) string { return quantity.Ohms(int64(v)) }
