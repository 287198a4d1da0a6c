package review

import (
	"regexp"
	"strings"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/monitor"
	"ohmgate/sim/charge"
	"ohmgate/sim/margin"
)

// requirementFields are the twelve that an assessor reads first.
var requirementFields = []string{"function", "hazard", "safe_state", "demand_mode", "time_available", "clock_starts",
	"target", "response", "spurious", "reset", "bypass", "proof_test"}

var answerRules = []Rule{
	{"R180", Should, "blank fields of the safety requirement",
		"An assessor reads them first: what is asked for, in what time, from when on, how well.",
		"IEC 61508-1 / 61511-1, safety requirements", fromMemory, "write requirement: with all twelve fields",
		func(s *subject, say say) {
			var blank []string
			for _, key := range requirementFields {
				if strings.TrimSpace(s.Requirement[key]) == "" {
					blank = append(blank, key)
				}
			}
			if blank != nil {
				say("requirement", "%d of 12 blank: %s", len(blank), strings.Join(blank, ", "))
			}
		}},
	{"R181", Should, "ignition sources that no bond removes are not answered",
		"People, linings, liquid in plastic, cones of powder, hoses: the interlock does nothing for them.",
		"NFPA 77 (2000 ed.); IEC TS 60079-32-1", fromMemory, "write ignition_sources: with what is done about each",
		func(s *subject, say say) {
			var blank []string
			for _, source := range s.margin.Sources {
				if source.Answer == "" {
					blank = append(blank, source.Key)
				}
			}
			if blank != nil {
				say("ignition_sources", "not answered: %s", strings.Join(blank, ", "))
			}
		}},
	{"R182", Must, "the response that is claimed is shorter than the logic's own",
		"From the loss of the bond to the contact, with aperture, poll, patience and module as the file has them.",
		bySemantics, derived, "shorten patience, or claim what is true",
		func(s *subject, say say) {
			claimed, ok := timeIn(s.Requirement["response"])
			if !ok {
				return
			}
			s.eachChannel(func(c *site.Channel, path string) {
				if worst := s.worstResponse(c); worst > claimed {
					say("requirement.response", "%s takes up to %s, claimed %s", c.Name, seconds(worst.Seconds()), span(claimed))
				}
			})
		}},
	{"R183", Note, "no failure rates",
		"Neither the average probability of failure nor the rate of useless trips can be computed.",
		"IEC 61508-6, Annex B", secondHand, "write reliability: with your own rates",
		func(s *subject, say say) {
			if len(s.Functions) == 0 {
				say("reliability", "no safety function is listed")
			}
		}},
	{"R184", Should, "the clock of the time available starts nowhere",
		"Some start it at the trip setpoint, others at the failure: the two differ by the whole detection.",
		"process-safety pages, seen disagreement", secondHand, "write clock_starts beside time_available",
		func(s *subject, say say) {
			if s.Requirement["time_available"] != "" && s.Requirement["clock_starts"] == "" {
				say("requirement.time_available", "%s", s.Requirement["time_available"])
			}
		}},
}

var writtenTime = regexp.MustCompile(`([0-9]+(?:\.[0-9]+)?)\s*(ms|s)\b`)

// timeIn is the first time that a text gives.
func timeIn(text string) (time.Duration, bool) {
	m := writtenTime.FindStringSubmatch(text)
	if m == nil {
		return 0, false
	}
	d, err := time.ParseDuration(m[1] + m[2])
	return d, err == nil
}

// worstResponse is how long a rising or open bond takes to the contact of the
// slowest output that the channel gates.
func (s *subject) worstResponse(c *site.Channel) time.Duration {
	t := s.timing(c)
	detection := max(t.Of(monitor.High).Detection, t.Of(monitor.Open).Detection) + c.ResponseTime
	slowest := -1.0
	s.eachOutput(func(o *site.Output, _ string) {
		if causes := s.permissive(o).Causes(); o.Actuator != "contact" && causes.Has(s.ChannelIndex(c.Name)) {
			slowest = max(slowest, o.OutputDelay.Hi)
		}
	})
	if slowest < 0 {
		return 0
	}
	return detection + time.Duration(slowest*1e9)
}

var marginRules = []Rule{
	{"R190", Should, "after an abrupt loss the charge wins",
		"When the flow has stopped the vessel holds more than ignites, at every value of the inputs. The interlock then only prevents starts and slow failures.",
		byMargin, derived, "what would win instead stands in ohmgate margin: a second path, slower, no filter, inerting",
		lossRule(charge.LosesEverywhere)},
	{"R191", Note, "after an abrupt loss it depends",
		"At the worse end of the inputs the charge wins.",
		byMargin, derived, "narrow the inputs that decide: ohmgate margin lists them",
		lossRule(charge.Depends)},
	{"R192", Note, "the margin rests on defaults",
		"What nobody wrote was assumed, on the bad side.",
		byMargin, derived, "measure it and write it",
		func(s *subject, say say) {
			told := map[string]bool{}
			s.eachLine(func(l *margin.Line, _ string) {
				for i := range l.Inputs {
					if k := &l.Inputs[i]; k.From == margin.FromDefault && k.Path != "" && !told[k.Path] {
						told[k.Path] = true
						say(k.Path, "%s: %s", k.Name, k.Why)
					}
				}
			})
		}},
}

func lossRule(claim charge.Verdict) func(*subject, say) {
	return func(s *subject, say say) {
		s.eachVesselLine(func(l *margin.Line, v *site.Vessel, st *site.Stream) {
			if l.Loss.Claim == claim && len(l.Loss.Stops) > 0 {
				say("streams."+st.Name, "%s may ignite after %s, isolated", v.Name, seconds(l.Loss.TimeToIncendive.Lo))
			}
		})
	}
}

var rigRules = []Rule{
	{"R200", Should, "relays of the rig do not fall when the line goes silent",
		"A pulled plug leaves the unit under test as it was.",
		byTrade, practice, "write time_out, and set it in the module",
		func(s *subject, say say) {
			for i := range s.Rig.Modules {
				if m := &s.Rig.Modules[i]; m.Kind == "relays" && m.TimeOut == 0 {
					say("rig.modules."+m.Name, "no time_out")
				}
			}
		}},
	{"R201", Should, "the decade of the rig is not calibrated",
		"A test at the limit says nothing without the value at the clamp and its uncertainty.",
		byTrade, practice, "write calibration: the file",
		func(s *subject, say say) {
			for i := range s.Rig.Modules {
				if m := &s.Rig.Modules[i]; m.Kind == "scpi-decade" && s.Rig.Cal == "" {
					say("rig.modules."+m.Name, "no calibration")
				}
			}
		}},
}

// suppressionRules are found while suppressions are applied; see report.go.
var suppressionRules = []Rule{
	{ID: unmatchedRule, Severity: Should, Title: "a suppression that matches nothing",
		Why:    "What it hid is gone, or it never hid anything; left standing it hides the next one.",
		Source: byTrade, Confidence: practice, Change: "delete it, or correct finding and at"},
	{ID: vagueRule, Severity: Note, Title: "a suppression with hardly a reason",
		Why:    "Who reads it in a year must be able to judge whether it still holds.",
		Source: byTrade, Confidence: practice, Change: "say who accepted it and why"},
}
