package review

import (
	"strings"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge"
	"ohmgate/sim/margin"
)

var vesselRules = []Rule{
	{"R130", Must, "no wait, and the vessel may be charged after a loss",
		"After a loss under flow the clamp goes back on and the flow starts again at once.",
		"BG RCI Ex-Schutz FAQ 7.10, after TRGS 727", seen, "write wait: and acknowledge:",
		waitRule(func(l *margin.Line, v *site.Vessel) bool {
			return v.Wait == 0 && l.Wait.Standing != verdict.Shown
		})},
	{"R131", Must, "the wait is shorter than the charge lasts",
		"At every leak resistance that the file allows the vessel still holds what ignites.",
		"BG RCI Ex-Schutz FAQ 7.10, after TRGS 727", seen, "a longer wait, or bleed through 100 MΩ or more",
		waitRule(func(l *margin.Line, v *site.Vessel) bool {
			return v.Wait > 0 && l.Wait.Standing == verdict.Violated
		})},
	{"R132", Should, "the wait may be shorter than the charge lasts",
		"At the upper end of the leak resistance, which governs, the vessel still holds what ignites.",
		"BG RCI Ex-Schutz FAQ 7.10, after TRGS 727", seen, "a longer wait, a measured leak, or bleed through 100 MΩ or more",
		waitRule(func(l *margin.Line, v *site.Vessel) bool {
			_, computed := l.Wait.Computed.Time()
			return v.Wait > 0 && l.Wait.Standing == verdict.NotShown && computed
		})},
	{"R133", Should, "the wait can not be computed",
		"Nobody knows the leak of the vessel without its clamp: the wait is a site rule.",
		"BG RCI Ex-Schutz FAQ 7.10, after TRGS 727", seen, "write leak: as an interval, or bleed through 100 MΩ or more",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if !v.Leak.Set && v.Wait > 0 && len(s.streamsInto(v.Name)) > 0 {
					say(path, "leak is not given")
				}
			})
		}},
	{"R134", Should, "no rest before unclamping",
		"Charge in the product still comes to the wall when the flow has stopped.",
		byTrade, practice, "write rest: such as 30 s",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if v.Rest == 0 && len(s.streamsInto(v.Name)) > 0 {
					say(path, "rest is not given")
				}
			})
		}},
	{"R135", Note, "a vessel that nothing charges",
		"Without a stream it has neither memory nor margin.",
		bySemantics, derived, "name it in the charges: of what charges it",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if len(s.streamsInto(v.Name)) == 0 {
					say(path, "in the charges: of no stream")
				}
			})
		}},
	{"R136", Must, "a vessel shown by channels of something else",
		"None of the channels in bonded_by watches this vessel or a part of it.",
		byTrade, practice, "name a channel of this vessel",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				causes := s.config.Vessels[s.VesselIndex(v.Name)].BondedBy.Causes()
				own := false
				s.eachChannel(func(c *site.Channel, _ string) {
					own = own || causes.Has(s.ChannelIndex(c.Name)) && s.vesselOf(c) == v
				})
				if !own {
					say(path+".bonded_by", "%s", s.BondExpression(v))
				}
			})
		}},
	{"R137", Must, "the lowest capacitance is not the lowest",
		"The two figures contradict each other; the spark is judged at the lowest.",
		bySemantics, derived, "correct one of them",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if v.Capacitance.Set && v.CapacitanceLow.Set && v.CapacitanceLow.Lo > v.Capacitance.Lo {
					say(path+".lowest_capacitance", "%.3g pF, but capacitance begins at %.3g pF", v.CapacitanceLow.Lo*1e12, v.Capacitance.Lo*1e12)
				}
			})
		}},
	{"R138", Should, "the lowest capacitance is not told of something that is moved",
		"A drum on a film, lifted, holds the same charge at a five-hundredth of the capacitance.",
		"BG RCI Ex-Schutz FAQ 7.15", seen, "write lowest_capacitance",
		func(s *subject, say say) {
			moved := map[string]bool{"drum": true, "drum on film": true, "ibc": true, "fibc": true, "tub": true, "cart": true, "bucket": true, "tote": true}
			s.eachVessel(func(v *site.Vessel, path string) {
				if moved[word(v.Object)] && !v.CapacitanceLow.Set {
					say(path, "%s without lowest_capacitance", word(v.Object))
				}
			})
		}},
	{"R139", Should, "the ignition energy is above what the tables list",
		"Sources differ; the lowest that is listed governs.",
		"ignition table of this program (NFPA 77 Table B.1 and others)", fromMemory, "the lowest listed, or the measured value with its source",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if least, name := listedIgnition(v.Atmosphere); v.Ignition.Set && name != "" && v.Ignition.Lo > least*(1+1e-9) {
					say(path+".ignition", "%.3g mJ, %s is listed with %.3g mJ", v.Ignition.Lo*1e3, name, least*1e3)
				}
			})
		}},
}

// waitRule asks each vessel about the first of its lines that is not right.
func waitRule(wrong func(l *margin.Line, v *site.Vessel) bool) func(*subject, say) {
	return func(s *subject, say say) {
		told := map[string]bool{}
		s.eachVesselLine(func(l *margin.Line, v *site.Vessel, st *site.Stream) {
			if !told[v.Name] && wrong(l, v) {
				told[v.Name] = true
				say("vessels."+v.Name+".wait", "%s (stream %s)", l.Wait.Why, st.Name)
			}
		})
	}
}

// listedIgnition is the lowest energy in J that is listed for a substance that a
// text names as a whole word.
func listedIgnition(text string) (least float64, name string) {
	words := " " + strings.ToLower(strings.NewReplacer(",", " ", ".", " ", ";", " ").Replace(text)) + " "
	for _, row := range charge.Ignitions() {
		if strings.Contains(words, " "+strings.ToLower(row.Substance)+" ") && (name == "" || row.Energy.Lo < least) {
			least, name = row.Energy.Lo, row.Substance
		}
	}
	return least, name
}

// nonMetal are words of wall materials that do not conduct.
var nonMetal = []string{"plastic", "poly", "glass", "rubber", "lined", "ptfe", "grp", "frp", "nylon"}

var partRules = []Rule{
	{"R150", Should, "the wall does not conduct, and nothing is said of the liquid",
		"A perfect bond of the cage does nothing for the liquid inside: it is a conductor of its own.",
		byTrade, practice, "an earthed dip pipe to the bottom, and the liquid as a part of its own under parts",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if !mentions(v.Material, nonMetal...) {
					return
				}
				for i := range s.Parts {
					if s.Parts[i].Of == v.Name {
						return
					}
				}
				say(path+".material", "%s", v.Material)
			})
		}},
	{"R151", Must, "a part is called monitored, and no channel watches it",
		"After cleaning it is always a part, never the vessel.",
		byTrade, practice, "name its channel, or write how it is bonded",
		perPart(func(s *subject, p *site.Part, path string, say say) {
			if p.Channel == "" && word(p.BondedBy) == "monitored" {
				say(path+".bonded_by", "monitored by nothing")
			}
		})},
	{"R152", Must, "a part's channel watches something else",
		"The channel's part is neither this part nor its vessel.",
		byTrade, practice, "correct the channel's part, or the part's channel",
		perPart(func(s *subject, p *site.Part, path string, say say) {
			if p.Channel == "" {
				return
			}
			if c := &s.Channels[s.ChannelIndex(p.Channel)]; c.Part != p.Name && c.Part != p.Of {
				say(path+".channel", "%s watches %s", c.Name, c.Part)
			}
		})},
	{"R153", Should, "a gasket is no bond",
		"It conducts until it is renewed.",
		byTrade, practice, "a strap across it, inspected or monitored",
		perPart(func(s *subject, p *site.Part, path string, say say) {
			if p.Channel == "" && mentions(p.BondedBy, "gasket", "rubber", "spring", "bearing") {
				say(path+".bonded_by", "%s", p.BondedBy)
			}
		})},
	{"R154", Note, "a part rests on inspection alone",
		"Nothing trips when its bond is left out.",
		byTrade, practice, "list it for inspection after each assembly",
		perPart(func(s *subject, p *site.Part, path string, say say) {
			if p.Channel == "" && word(p.BondedBy) != "monitored" {
				say(path, "%s", p.BondedBy)
			}
		})},
	{"R155", Should, "no part map",
		"Each conductive part, how it is bonded and what floats when one goes: a gasket ring, a filter housing, a hose section.",
		byTrade, practice, "write parts:",
		func(s *subject, say say) {
			if len(s.Parts) == 0 && len(s.Vessels) > 0 {
				say("parts", "no parts are listed")
			}
		}},
}

func perPart(ask func(s *subject, p *site.Part, path string, say say)) func(*subject, say) {
	return func(s *subject, say say) {
		for i := range s.Parts {
			ask(s, &s.Parts[i], "parts."+s.Parts[i].Name, say)
		}
	}
}
