package review

import (
	"strings"

	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
)

var evidenceRules = []Rule{
	{"R060", Should, "nothing shows the clamp on the right object",
		"Jaws on the gantry, the arm or the car before read 0.2 Ω: good, and the vessel floats.",
		byTrade, practice, "object_evidence: a position switch, a tag or a second clamp",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Measures == "clamp-loop" && c.Evidence == "" {
				say(path, "clamp-loop without object_evidence")
			}
		})},
	{"R061", Note, "an earth path without object evidence",
		"It shows some way to earth. That it is this part's way nobody says.",
		byTrade, practice, "object_evidence where the part can be taken away or exchanged",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Measures == "earth-path" && c.Evidence == "" {
				say(path, "earth-path without object_evidence")
			}
		})},
	{"R062", Note, "what the reading does not show",
		"A clamp loop shows that the jaws bite metal, an earth path that some way to earth exists. Only both together show a bond and its way.",
		byTrade, practice, "know it, or watch the same part in both ways",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			for i := range s.Channels {
				if s.Channels[i].Part == c.Part && s.Channels[i].Measures != c.Measures {
					return
				}
			}
			if c.Measures == "clamp-loop" {
				say(path+".measures", "does not show that it reaches earth")
			} else {
				say(path+".measures", "does not show that the strap itself is whole")
			}
		})},
	{"R063", Should, "rails hide a broken strap",
		"The rails earth the car well here, and not at all past the next insulated joint.",
		"FC 5706.5.7 asks for a bond from 25 Ω via the rails", seen, "watch the clamp loop as well",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			v := s.vesselOf(c)
			if v == nil || c.Measures != "earth-path" || word(v.Object) != "rail car" && !v.SecondPath.Set {
				return
			}
			for i := range s.Channels {
				if s.Channels[i].Part == c.Part && s.Channels[i].Measures == "clamp-loop" {
					return
				}
			}
			say(path+".measures", "%s has a second path to earth", v.Name)
		})},
	{"R064", Should, "one switch is evidence for two parts",
		"It can show only one of them at its place.",
		byTrade, practice, "one evidence input for each part",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			for i := range s.Channels[:s.ChannelIndex(c.Name)] {
				if before := &s.Channels[i]; c.Evidence != "" && before.Evidence == c.Evidence && before.Part != c.Part {
					say(path+".object_evidence", "%s is evidence for %s too", c.Evidence, before.Part)
					return
				}
			}
		})},
	{"R065", Should, "a frozen reading is not seen",
		"A gateway may repeat its last good value for ever. Without the device's own stamp no rule on the value can notice.",
		byTrade, practice, "a device that tells when it measured, or a test resistor that must move the reading",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if !c.Stamped {
				say(path+".device_stamp", "device_stamp: no")
			}
		})},
	{"R066", Should, "faults that nothing sees, and no proof test",
		"While they act a connection that is gone reads good. Only a test finds them.",
		"fault catalogue of this program", derived, "write proof_test: the interval and what is done against each",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.ProofTest == "" {
				say(path, "NOT detected: %s", strings.Join(s.unseen(c), ", "))
			}
		})},
	{"R067", Note, "the proof test says when, not what",
		"Whoever does it must know what to short, open and set.",
		byTrade, practice, `such as "12 months: open, short at the jaws, 8.9 Ω, 10.1 Ω"`,
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.ProofTest != "" && len(strings.FieldsFunc(c.ProofTest, func(r rune) bool { return strings.ContainsRune(":,;", r) })) < 2 {
				say(path+".proof_test", "%q", c.ProofTest)
			}
		})},
	{"R068", Must, "a broken wire reads as evidence",
		"An inverted input says yes where no voltage arrives.",
		byTrade, practice, "a contact that is closed when the object is there, and inverted: no",
		func(s *subject, say say) {
			for i := range s.Inputs {
				if in := &s.Inputs[i]; in.Inverted && (in.Use == "evidence" || in.Use == "switch") && !s.onlyStops(in.Name) {
					say("inputs."+in.Name+".inverted", "inverted, for use as %s", in.Use)
				}
			}
		}},
	{"R069", Note, "a broken wire at the flow switch reads as no flow",
		"Then the wait runs although product may still move; the end switches alone say that it stopped.",
		byTrade, practice, "a contact that opens on flow, and inverted: yes",
		func(s *subject, say say) {
			for i := range s.Inputs {
				if in := &s.Inputs[i]; in.Use == "flow" && !in.Inverted {
					say("inputs."+in.Name, "not inverted")
				}
			}
		}},
}

// onlyStops reports that an input does nothing but stop outputs.
func (s *subject) onlyStops(name string) bool {
	stops := false
	for i := range s.Outputs {
		stops = stops || s.Outputs[i].Stop == name
	}
	return stops && len(s.usesOf(name)) == 1
}

// seenBy says for faults of the catalogue what of a channel shows them.
var seenBy = map[string]func(s *subject, c *site.Channel) bool{
	"clamp_on_wrong_object": func(_ *subject, c *site.Channel) bool { return c.Evidence != "" },
	"strap_left_out":        func(_ *subject, c *site.Channel) bool { return c.Measures == "earth-path" },
	"rotation": func(s *subject, c *site.Channel) bool {
		for _, speed := range c.RotationsPerMin {
			if k, _ := s.beats(c, speed); k > 0 {
				return false
			}
		}
		return true
	},
	"leak_path":      func(_ *subject, c *site.Channel) bool { return c.Kind == "metal" },
	"stray_dc":       func(_ *subject, c *site.Channel) bool { return c.Transmitter.BothPoles || c.Kind != "metal" },
	"mains_pickup":   func(_ *subject, c *site.Channel) bool { return rejectsMains(c.Aperture) },
	"frozen_reading": func(_ *subject, c *site.Channel) bool { return c.Stamped },
}

// unseen are the faults of the catalogue that no rule on this channel notices.
func (s *subject) unseen(c *site.Channel) (names []string) {
	on := fault.Channel{EarthPath: c.Measures == "earth-path", Slow: c.ResponseTime > 0, Stamped: c.Stamped}
	for _, f := range fault.All() {
		if f.On != fault.OnChannel || !f.HidesOn(on) {
			continue
		}
		if shown := seenBy[f.Name]; shown == nil || !shown(s, c) {
			names = append(names, f.Name)
		}
	}
	return names
}
