package review

import (
	"time"

	"ohmgate/interlock/site"
)

var pressRules = []Rule{
	{"R090", Must, "an output that moves product restarts by itself",
		"A clamp that is put back within a second starts the flow again onto a vessel that may be charged.",
		"IEC 60204-1, 9.2.3", fromMemory, "write restart: on-reset with a reset",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if streams := s.streamsOf(o.Name); o.Restart == "automatic" && len(streams) > 0 {
				say(path+".restart", "automatic, and moves %s", streams[0].Name)
			}
		})},
	{"R091", Should, "one reset for outputs of different streams",
		"One press releases what the presser does not look at.",
		byReset, fromMemory, "one reset at each place, in sight of what it releases",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			for i := range s.Outputs[:s.OutputIndex(o.Name)] {
				if before := &s.Outputs[i]; o.Reset != "" && o.Reset == before.Reset && !s.together(before.Name, o.Name) {
					say(path+".reset", "%s resets %s too", o.Reset, before.Name)
					return
				}
			}
		})},
	{"R092", Should, "one acknowledge for several vessels",
		"An early reconnection at one vessel is acknowledged from another.",
		byTrade, practice, "one acknowledge at each vessel",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				for i := range s.Vessels[:s.VesselIndex(v.Name)] {
					if before := &s.Vessels[i]; v.Acknowledge != "" && v.Acknowledge == before.Acknowledge {
						say(path+".acknowledge", "%s acknowledges %s too", v.Acknowledge, before.Name)
						return
					}
				}
			})
		}},
	{"R093", Should, "the reset is the acknowledge too",
		"By habit the same press clears the warning that somebody touched a charged vessel.",
		byTrade, practice, "a button of its own",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				for i := range s.Outputs {
					if o := &s.Outputs[i]; v.Acknowledge != "" && (o.Reset == v.Acknowledge || o.Start == v.Acknowledge) {
						say(path+".acknowledge", "%s is a button of %s", v.Acknowledge, o.Name)
						return
					}
				}
			})
		}},
	{"R094", Must, "the button that stops also starts or resets",
		"Stop has priority over start; one button can not be both.",
		"IEC 60204-1, 9.2.3.3", fromMemory, "a stop button of its own",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if o.Stop != "" && (o.Stop == o.Reset || o.Stop == o.Start) {
				say(path+".stop", "%s does both", o.Stop)
			}
		})},
	{"R095", Should, "a stream that nobody can stop by hand",
		"People see what no instrument does.",
		"IEC 60204-1, 9.2", fromMemory, "a stop button at one output of the stream",
		func(s *subject, say say) {
			s.eachStream(func(st *site.Stream, path string) {
				for _, name := range st.Through {
					if s.Outputs[s.OutputIndex(name)].Stop != "" {
						return
					}
				}
				say(path+".through", "no output of it has a stop")
			})
		}},
	{"R096", Should, "a broken wire at the stop button does not stop",
		"A stop must work by opening: without voltage it must read as pressed.",
		"IEC 60204-1, 9.4", fromMemory, "a contact that is closed at rest, and inverted: yes",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if o.Stop != "" && !s.Inputs[s.InputIndex(o.Stop)].Inverted {
				say(path+".stop", "%s is not inverted", o.Stop)
			}
		})},
	{"R097", Should, "a stray signal and a gap could count as a press",
		"The last value of a button stands until it is stale. If that lasts as long as the shortest press, one stray 1 makes one.",
		bySemantics, derived, "a stale_after below the shortest press, or a longer shortest press",
		func(s *subject, say say) {
			ask := func(button, path string, shortest time.Duration) {
				if button == "" {
					return
				}
				in := &s.Inputs[s.InputIndex(button)]
				if clock := s.Clock(); clock.AtMost(in.StaleAfter)+1 >= clock.AtLeast(shortest)+1 {
					say(path, "%s is stale after %s, a press lasts %s", button, span(in.StaleAfter), span(shortest))
				}
			}
			s.eachOutput(func(o *site.Output, path string) { ask(o.Reset, path+".reset", o.PressMin) })
			s.eachVessel(func(v *site.Vessel, path string) { ask(v.Acknowledge, path+".acknowledge", v.PressMin) })
		}},
}

// together reports that two outputs carry a stream in common.
func (s *subject) together(a, b string) bool {
	for _, st := range s.streamsOf(a) {
		if has(st.Through, b) {
			return true
		}
	}
	return false
}

const (
	longestBypass  = 15 * time.Minute
	shortestNotice = 10 * time.Second
	renewedShare   = 0.9
)

func perBypass(ask func(s *subject, y *site.Bypass, path string, say say)) func(*subject, say) {
	return func(s *subject, say say) {
		for i := range s.Bypasses {
			ask(s, &s.Bypasses[i], "bypasses."+s.Bypasses[i].Name, say)
		}
	}
}

var bypassRules = []Rule{
	{"R100", Should, "a bypass covers a lost bond",
		"The transfer goes on while the reading says that the bond is gone.",
		byTrade, practice, "covers: unreadable",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if y.Covers == "lost" {
				say(path+".covers", "covers lost for %s, against: %s", span(y.For), y.Measure)
			}
		})},
	{"R101", Should, "a long bypass",
		"Longer than somebody can stand beside it.",
		byTrade, practice, "15 min at most",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if y.For > longestBypass {
				say(path+".for", "for %s", span(y.For))
			}
		})},
	{"R102", Should, "the bypass ends without time to act",
		"The transfer trips in the middle, and the vessel is then suspect.",
		byTrade, practice, "warn 10 s or more before the end",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if y.Warn < shortestNotice {
				say(path+".warn", "warned %s before its end", span(y.Warn))
			}
		})},
	{"R103", Note, "the bypass may be on nearly always",
		"Renewed after each gap it runs for most of the day. Count it, and look at the count.",
		bySemantics, derived, "a longer gap",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if share := float64(y.For) / float64(y.For+y.Gap); share > renewedShare {
				say(path+".gap", "up to %.0f %% of the time", 100*share)
			}
		})},
	{"R104", Must, "the bypass key is a button of something else",
		"A press for one thing begins the other.",
		byTrade, practice, "a key of its own",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if uses := s.usesOf(y.Input); len(uses) > 1 {
				say(path+".input", "%s is used at %s as well", y.Input, uses[0])
			}
		})},
	{"R105", Should, "anybody can begin the bypass",
		"A button is no key: nobody has to answer for it.",
		byTrade, practice, "an input with use: key, and who holds the key",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if s.Inputs[s.InputIndex(y.Input)].Use != "key" {
				say(path+".input", "%s is no key", y.Input)
			}
		})},
	{"R106", Note, "under the bypass nothing watches the bond",
		"An instrument that failed and a clamp that was failing look alike.",
		bySemantics, derived, "write measure: what is done meanwhile",
		perBypass(func(s *subject, y *site.Bypass, path string, say say) {
			if y.Measure == "" {
				say(path, "no measure is written for %s", y.Channel)
			}
		})},
}
