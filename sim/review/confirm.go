package review

import (
	"time"

	"ohmgate/interlock/site"
	"ohmgate/sim/charge"
	"ohmgate/sim/margin"
)

const inch = 0.0254 // m

// closingLimit is the longest time in which a cargo-tank outlet may close.
const closingLimit = 30 * time.Second

func confirmed(o *site.Output) bool { return o.Closed != "" || o.Opened != "" }

// perMover asks outputs that carry a stream.
func perMover(ask func(s *subject, o *site.Output, path string, say say)) func(*subject, say) {
	return perOutput(func(s *subject, o *site.Output, path string, say say) {
		if len(s.streamsOf(o.Name)) > 0 {
			ask(s, o, path, say)
		}
	})
}

var confirmRules = []Rule{
	{"R110", Should, "nothing shows whether the output stopped",
		"The wait then runs from the longest stop that somebody guessed, and a stuck valve calls no backup.",
		byTrade, practice, "write confirm: with an end switch and the travel time",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			if !confirmed(o) {
				say(path, "no confirm")
			}
		})},
	{"R111", Should, "one end switch is never contradicted",
		"A switch that is stuck made keeps reporting the end. A second one at the other end contradicts it.",
		byTrade, practice, "both closed: and opened:",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			switch {
			case o.Closed != "" && o.Opened == "":
				say(path+".confirm", "only %s; stuck made it is not contradicted", o.Closed)
			case o.Closed == "" && o.Opened != "":
				say(path+".confirm", "only %s; its broken wire reads as stopped", o.Opened)
			}
		})},
	{"R112", Should, "if the output stays open nothing else stops the stream",
		"One welded contact or stuck stem, and product flows until somebody runs.",
		byTrade, practice, "write backup: another output in the same line",
		func(s *subject, say say) {
			told := map[string]bool{}
			s.eachVesselLine(func(l *margin.Line, v *site.Vessel, st *site.Stream) {
				if len(l.Loss.Stops) != 1 || told[l.Loss.Stops[0]] {
					return
				}
				if o := &s.Outputs[s.OutputIndex(l.Loss.Stops[0])]; len(o.Backup) == 0 {
					told[o.Name] = true
					say("outputs."+o.Name, "alone stops %s, without a backup", st.Name)
				}
			})
		}},
	{"R113", Should, "the backup does not carry the stream",
		"Stopping it does not stop what stayed open, as far as the file says.",
		byTrade, practice, "name the backup in the through: of the stream, or another backup",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			for _, name := range o.Backup {
				if !s.together(o.Name, name) {
					say(path+".backup", "%s is in no stream of %s", name, o.Name)
				}
			}
		})},
	{"R114", Should, "the backup is called after the charge has won",
		"It waits for the travel time of the one that stays open, which an isolated vessel does not have.",
		byMargin, derived, "backup_when: at once, where stopping both does no harm",
		func(s *subject, say say) {
			told := map[string]bool{}
			s.eachVesselLine(func(l *margin.Line, v *site.Vessel, st *site.Stream) {
				for _, name := range l.Loss.Stops {
					o := &s.Outputs[s.OutputIndex(name)]
					if told[name] || len(o.Backup) == 0 || o.BackupWhen != "unconfirmed" || l.Loss.Claim == charge.WinsEverywhere || s.otherStops(l, o) {
						continue
					}
					if o.Travel.Seconds() > l.Loss.TimeToIncendive.Lo {
						told[name] = true
						say("outputs."+name+".backup", "called after %s, %s may ignite after %s", span(o.Travel), v.Name, seconds(l.Loss.TimeToIncendive.Lo))
					}
				}
			})
		}},
	{"R115", Should, "nobody sees whether the backup stopped",
		"The last line of defence is not confirmed.",
		byTrade, practice, "write confirm: for it",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			for _, name := range o.Backup {
				if b := &s.Outputs[s.OutputIndex(name)]; !confirmed(b) {
					say("outputs."+name, "backup of %s, no confirm", o.Name)
				}
			}
		})},
	{"R116", Must, "the dead time is longer than the travel time",
		"Travel counts from the command and holds the dead time.",
		bySemantics, derived, "correct one of them",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if o.DeadTime.Set && o.DeadTime.Hi >= o.Travel.Seconds() {
				say(path+".confirm.dead_time", "dead time up to %s, travel %s", seconds(o.DeadTime.Hi), span(o.Travel))
			}
		})},
	{"R117", Note, "faster than valves of this bore usually are",
		"Until measured, one second for each inch of bore is what people expect.",
		"process-safety pages, rule of thumb", secondHand, "measure the travel, cold and under pressure",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			for _, st := range s.streamsOf(o.Name) {
				if usual := st.Bore.Hi / inch; o.Actuator == "valve" && confirmed(o) && st.Bore.Set && o.Travel.Seconds() < usual {
					say(path+".confirm.travel", "travel %s, %s for %.0f mm", span(o.Travel), seconds(usual), st.Bore.Hi*1e3)
					return
				}
			}
		})},
	{"R118", Should, "slower than codes allow new plant",
		"Self-closing outlets of cargo tanks must be shut, and marine transfers stopped, within 30 s (60 s for the oldest).",
		"49 CFR 178.345-11(b)(1); 33 CFR 154.550", seen, "a faster actuator",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			if o.Actuator == "valve" && o.Travel > closingLimit {
				say(path+".confirm.travel", "travel %s", span(o.Travel))
			}
		})},
	{"R119", Note, "the delay of the contact is not told",
		"It counts as nothing in the time budget.",
		byTrade, practice, "write output_delay",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			if !o.OutputDelay.Set {
				say(path, "output_delay is not given")
			}
		})},
	{"R120", Should, "the position without energy is not told",
		"De-energised must be the stop; somebody has to have looked.",
		"IEC 60204-1, 9.4", fromMemory, "write safe_state",
		perMover(func(s *subject, o *site.Output, path string, say say) {
			if o.SafeState == "" {
				say(path, "safe_state is not given")
			}
		})},
	{"R121", Must, "the wait begins while charge still arrives",
		"The run-down that is written ends before the profile does, and no flow switch would hold the wait back.",
		bySemantics, derived, "a run_down (without confirmation: longest_stop) to the end of the profile, or a flow switch",
		runDownRule(false)},
	{"R122", Should, "the wait rests on the flow switch alone",
		"The run-down that is written ends before the profile does; a flow switch that fails lets the wait begin.",
		bySemantics, derived, "a run_down (without confirmation: longest_stop) to the end of the profile",
		runDownRule(true)},
}

// otherStops reports that another output trips on the same loss by itself, or
// the backup does.
func (s *subject) otherStops(l *margin.Line, o *site.Output) bool { return len(l.Loss.Stops) > 1 }

// runDownRule compares the end of flow that the logic counts on with the end of
// the declared profile.
func runDownRule(withSwitch bool) func(*subject, say) {
	return func(s *subject, say say) {
		s.eachStream(func(st *site.Stream, path string) {
			if !st.ProfileTime.Set || (st.Flow != "") != withSwitch {
				return
			}
			counted, key := st.LongestStop, ".longest_stop"
			if s.Confirmable(st) {
				counted, key = st.RunDown+s.slowestTravel(st), ".run_down"
			}
			if counted.Seconds() < st.ProfileTime.Hi*(1-1e-9) {
				say(path+key, "counted %s from the command, the profile lasts %s", span(counted), seconds(st.ProfileTime.Hi))
			}
		})
	}
}

func (s *subject) slowestTravel(st *site.Stream) (slowest time.Duration) {
	for _, name := range st.Through {
		slowest = max(slowest, s.Outputs[s.OutputIndex(name)].Travel)
	}
	return slowest
}
