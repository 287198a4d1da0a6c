package review

import (
	"sort"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/sim/margin"
)

var logicRules = []Rule{
	{"R070", Must, "a vessel's bond can be lost and nothing stops the stream",
		"No output that carries the stream is withheld whenever the bond is gone.",
		bySemantics, derived, "AND the vessel's channel into the permissive of an output of the stream",
		func(s *subject, say say) {
			s.eachVesselLine(func(l *margin.Line, v *site.Vessel, st *site.Stream) {
				if len(l.Loss.Stops) == 0 && len(l.Channels) > 0 {
					say("streams."+st.Name+".charges", "%s (watched by %s) may float while %s flows", v.Name, strings.Join(l.Channels, ", "), st.Name)
				}
			})
		}},
	{"R071", Should, "an output of the stream goes on when the bond is lost",
		"One output alone carries the loss: if it does not move, the others push on.",
		byTrade, practice, "AND the channel into its permissive too, or call it as backup",
		func(s *subject, say say) {
			told := map[string]bool{}
			s.eachVesselLine(func(l *margin.Line, v *site.Vessel, st *site.Stream) {
				stopped := s.withBackups(l.Loss.Stops)
				for _, name := range st.Through {
					if key := name + " " + v.Name; len(l.Loss.Stops) > 0 && !stopped[name] && !told[key] {
						told[key] = true
						say("outputs."+name+".permissive", "goes on when %s is lost; only %s stops %s", v.Name, strings.Join(l.Loss.Stops, ", "), st.Name)
					}
				}
			})
		}},
	{"R072", Must, "a channel gates nothing",
		"It is measured, shown, and no output asks for it.",
		byTrade, practice, "AND it into the permissive of what it guards, or delete it",
		func(s *subject, say say) {
			var used interlock.CauseSet
			for i := range s.config.Outputs {
				causes := s.config.Outputs[i].Permissive.Causes()
				for c := range s.Channels {
					if causes.Has(c) {
						used.Add(c)
					}
				}
			}
			s.eachChannel(func(c *site.Channel, path string) {
				if !used.Has(s.ChannelIndex(c.Name)) {
					say(path, "in no permissive")
				}
			})
		}},
	{"R073", Should, "an output that no channel gates and no stream names",
		"It runs whatever is bonded, and nothing says that it charges nothing.",
		byTrade, practice, "name it in the stream that it moves, or AND a channel into its permissive",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if o.Actuator != "contact" && len(s.streamsOf(o.Name)) == 0 && !s.gated(o) {
				say(path+".permissive", "%s without a channel and without a stream", o.Actuator)
			}
		})},
	{"R074", Note, "an output that is in no stream",
		"No charge memory and no wait holds it back after a loss.",
		bySemantics, derived, "name it in the through: of the stream that it moves, if it moves any",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if o.Actuator != "contact" && len(s.streamsOf(o.Name)) == 0 && s.gated(o) {
				say(path, "%s, in no stream", o.Actuator)
			}
		})},
	{"R075", Must, "the permissive is true whatever happens",
		"It withholds nothing but the unknown.",
		bySemantics, derived, "write what must hold",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if can, sure := possible(wish{s.permissive(o), false}); !can && sure {
				say(path+".permissive", "can not be false")
			}
		})},
	{"R076", Must, "the permissive can never be true",
		"The output would never run; somebody will bypass all of it.",
		bySemantics, derived, "write what must hold",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if can, sure := possible(wish{s.permissive(o), true}); !can && sure {
				say(path+".permissive", "can not be true")
			}
		})},
	{"R077", Must, "NOT or XOR over an input",
		"A dead wire or a module that reports 0 then permits. Unknown withholds, but a stuck 0 is not unknown.",
		byTrade, practice, "a contact that is closed in the permitted state, and no NOT",
		invertedRule(func(s *subject, cause int) bool { return cause >= len(s.Channels) })},
	{"R078", Must, "NOT or XOR over a channel",
		"The output runs because a bond is missing; a clamp that is settling or lost permits it.",
		byTrade, practice, "state what must be bonded, or show by a switch that the place is empty",
		invertedRule(func(s *subject, cause int) bool { return cause < len(s.Channels) })},
	{"R079", Should, "one good channel of a part is enough",
		"Any single reading that is wrong the good way holds the output: OR and 1ooN of bonds multiply the undetected faults.",
		byTrade, practice, "AND, or 2oo3",
		perOutput(func(s *subject, o *site.Output, path string, say say) {
			if o.Actuator == "contact" {
				return
			}
			p := s.permissive(o)
			for i := range p {
				n := &p[i]
				if n.Op != interlock.OpOr && (n.Op != interlock.OpVote || n.M != 1) {
					continue
				}
				if part, twice := s.samePart(p, n); twice {
					say(path+".permissive", "any one channel of %s is enough", part)
					return
				}
			}
		})},
	{"R080", Note, "an input that nothing uses",
		"It was meant for something.",
		byTrade, practice, "use it, or delete it",
		func(s *subject, say say) {
			for i := range s.Inputs {
				if name := s.Inputs[i].Name; len(s.usesOf(name)) == 0 {
					say("inputs."+name, "used nowhere")
				}
			}
		}},
	{"R081", Should, "a single channel, and a target above level 1",
		"One undetected fault of one instrument is a dangerous failure of the whole function.",
		"IEC 61508-2, architectural constraints", fromMemory, "a second channel for the same part, or show the diagnostic coverage",
		singleRule(func(level int) bool { return level >= 2 })},
	{"R082", Note, "a single channel shows the earth of the vessel",
		"It is a single point of failure; its proof test is what stands behind it.",
		byTrade, practice, "know it",
		singleRule(func(level int) bool { return level < 2 })},
}

// perOutput makes a rule of what is asked of one output.
func perOutput(ask func(s *subject, o *site.Output, path string, say say)) func(*subject, say) {
	return func(s *subject, say say) {
		s.eachOutput(func(o *site.Output, path string) { ask(s, o, path, say) })
	}
}

// eachVesselLine goes through the margin's lines that are about a vessel.
func (s *subject) eachVesselLine(do func(l *margin.Line, v *site.Vessel, st *site.Stream)) {
	s.eachLine(func(l *margin.Line, _ string) {
		if v, st := s.VesselIndex(l.Node), s.StreamIndex(l.Stream); v >= 0 && st >= 0 && has(s.Streams[st].Charges, l.Node) {
			do(l, &s.Vessels[v], &s.Streams[st])
		}
	})
}

// withBackups adds to outputs all that they call.
func (s *subject) withBackups(names []string) map[string]bool {
	all := map[string]bool{}
	for len(names) > 0 {
		name := names[0]
		names = names[1:]
		if !all[name] {
			all[name] = true
			names = append(names[:len(names):len(names)], s.Outputs[s.OutputIndex(name)].Backup...)
		}
	}
	return all
}

// gated reports that a channel stands in the permissive.
func (s *subject) gated(o *site.Output) bool {
	causes := s.permissive(o).Causes()
	for c := range s.Channels {
		if causes.Has(c) {
			return true
		}
	}
	return false
}

// invertedRule finds causes under NOT or XOR, but for lamps and horns.
func invertedRule(wanted func(s *subject, cause int) bool) func(*subject, say) {
	return perOutput(func(s *subject, o *site.Output, path string, say say) {
		if o.Actuator == "contact" && len(s.streamsOf(o.Name)) == 0 {
			return
		}
		p, names := s.permissive(o), map[string]bool{}
		for i := range p {
			if p[i].Op == interlock.OpNot || p[i].Op == interlock.OpXor {
				below(p, i, func(cause int) {
					if wanted(s, cause) {
						names[s.CauseName(cause)] = true
					}
				})
			}
		}
		if len(names) > 0 {
			say(path+".permissive", "over %s", strings.Join(sortedNames(names), ", "))
		}
	})
}

func below(p interlock.Permissive, at int, do func(cause int)) {
	if p[at].Op == interlock.OpCause {
		do(p[at].Cause)
	}
	for _, arg := range p[at].Args {
		below(p, arg, do)
	}
}

func sortedNames(set map[string]bool) (list []string) {
	for name := range set {
		list = append(list, name)
	}
	sort.Strings(list)
	return list
}

// samePart finds two terms that are channels of one part.
func (s *subject) samePart(p interlock.Permissive, n *interlock.Node) (part string, twice bool) {
	taken := map[string]bool{}
	for _, arg := range n.Args {
		if p[arg].Op != interlock.OpCause || p[arg].Cause >= len(s.Channels) {
			continue
		}
		part := s.Channels[p[arg].Cause].Part
		if taken[part] {
			return part, true
		}
		taken[part] = true
	}
	return "", false
}

// singleRule finds vessels whose earth one channel alone shows.
func singleRule(applies func(level int) bool) func(*subject, say) {
	return func(s *subject, say say) {
		if !applies(s.targetLevel()) {
			return
		}
		s.eachVessel(func(v *site.Vessel, path string) {
			causes := s.config.Vessels[s.VesselIndex(v.Name)].BondedBy.Causes()
			var names []string
			s.eachChannel(func(c *site.Channel, _ string) {
				if causes.Has(s.ChannelIndex(c.Name)) {
					names = append(names, c.Name)
				}
			})
			if len(names) == 1 {
				say(path, "only %s shows it", names[0])
			}
		})
	}
}

// usesOf lists where an input is named; permissives count once for each output.
func (s *subject) usesOf(name string) (uses []string) {
	add := func(have, where string) {
		if have == name {
			uses = append(uses, where)
		}
	}
	s.eachChannel(func(c *site.Channel, path string) { add(c.Evidence, path) })
	cause := s.CauseIndex(name)
	s.eachOutput(func(o *site.Output, path string) {
		for _, input := range []string{o.Reset, o.Start, o.Stop, o.Closed, o.Opened} {
			add(input, path)
		}
		if causes := s.permissive(o).Causes(); causes.Has(cause) {
			uses = append(uses, path+".permissive")
		}
	})
	s.eachVessel(func(v *site.Vessel, path string) { add(v.Acknowledge, path) })
	s.eachStream(func(st *site.Stream, path string) { add(st.Flow, path) })
	for i := range s.Bypasses {
		add(s.Bypasses[i].Input, "bypasses."+s.Bypasses[i].Name)
	}
	return uses
}
