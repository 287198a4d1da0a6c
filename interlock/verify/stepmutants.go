package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// stepMutant plants a mistake around the whole step: in how the parts are wired
// together, which only the runs on the whole site can show.
func stepMutant(kind, name string, before func(c *interlock.Config, s *interlock.State, in *interlock.Inputs), after func(c *interlock.Config, was, s *interlock.State, in *interlock.Inputs, d *interlock.Decision)) Mutant {
	return Mutant{Name: name, Kind: kind, part: partStep, plant: func(l *model.Logic) {
		real := l.Step
		l.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
			was := interlock.NewState(c)
			was.CopyFrom(s)
			changed := &interlock.Inputs{Readings: append([]monitor.Reading(nil), in.Readings...), Signals: append([]interlock.Signal(nil), in.Signals...), Overrun: in.Overrun}
			if before != nil {
				before(c, s, changed)
			}
			real(c, s, changed, d)
			if after != nil {
				after(c, was, s, in, d)
			}
		}
	}}
}

var stepMutants = []Mutant{
	stepMutant("skipped input", "the last channel is not read", func(c *interlock.Config, s *interlock.State, in *interlock.Inputs) {
		last := len(in.Readings) - 1
		in.Readings[last] = table.ReadingOf(&c.Channels[last].Config, monitor.Good, s.Channels[last].Stamp+1)
	}, nil),
	stepMutant("skipped input", "the first channel reads what the second reads", func(_ *interlock.Config, _ *interlock.State, in *interlock.Inputs) {
		if len(in.Readings) > 1 {
			in.Readings[0] = in.Readings[1]
		}
	}, nil),
	stepMutant("skipped input", "every clamp trips every output", nil, func(_ *interlock.Config, _, s *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		for i := range s.Channels {
			if !s.Channels[i].Phase.MayKeep() && s.Channels[i].Phase != monitor.Settling && s.Running {
				for o := range s.Outputs {
					if s.Outputs[o].Mode == interlock.Enabled {
						s.Outputs[o].Mode = interlock.Tripped
						d.Coils &^= 1 << o
					}
				}
			}
		}
	}),
	stepMutant("dropped state", "first-out is overwritten while the trip stands", nil, func(_ *interlock.Config, was, s *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		for o := range s.Outputs {
			if was.Outputs[o].Mode == interlock.Tripped && s.Outputs[o].Mode == interlock.Tripped {
				s.Outputs[o].Trip.FirstOut = interlock.CauseSet{}
				for cause, t := range d.Keep {
					if t != interlock.True {
						s.Outputs[o].Trip.FirstOut.Add(cause)
					}
				}
			}
		}
	}),
	stepMutant("dropped state", "first-out is left empty", nil, func(_ *interlock.Config, _, s *interlock.State, _ *interlock.Inputs, _ *interlock.Decision) {
		for o := range s.Outputs {
			s.Outputs[o].Trip.FirstOut = interlock.CauseSet{}
		}
	}),
	stepMutant("swapped branch", "first-out names what was true", nil, func(_ *interlock.Config, was, s *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		for o := range s.Outputs {
			if was.Outputs[o].Mode == interlock.Enabled && s.Outputs[o].Mode == interlock.Tripped {
				for cause, t := range d.Keep {
					if t == interlock.True {
						s.Outputs[o].Trip.FirstOut.Add(cause)
					}
				}
			}
		}
	}),
	stepMutant("inverted quality", "the watchdog is kicked in an overrun scan", nil, func(_ *interlock.Config, _, _ *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		d.Kick = true
	}),
	stepMutant("swapped branch", "the watchdog is never kicked", nil, func(_ *interlock.Config, _, _ *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		d.Kick = false
	}),
	stepMutant("swapped branch", "coils are written one scan late", nil, func(_ *interlock.Config, was, _ *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		d.Coils = 0
		for o := range was.Outputs {
			if was.Outputs[o].Mode == interlock.Enabled {
				d.Coils |= 1 << o
			}
		}
	}),
	stepMutant("skipped input", "an overrun is not passed on", func(_ *interlock.Config, _ *interlock.State, in *interlock.Inputs) { in.Overrun = false }, nil),
	stepMutant("skipped input", "backups are not called", nil, func(c *interlock.Config, was, s *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		for o := range s.Outputs {
			if len(c.CallersOf(o)) > 0 && was.Outputs[o].Mode == interlock.Enabled && s.Outputs[o].Mode == interlock.Tripped && s.Outputs[o].Trip.Why == interlock.ReasonBackup {
				s.Outputs[o] = was.Outputs[o]
				d.Coils |= 1 << o
			}
		}
	}),
	stepMutant("dropped state", "a latched actuator never comes back", nil, func(_ *interlock.Config, was, s *interlock.State, _ *interlock.Inputs, _ *interlock.Decision) {
		for o := range s.Outputs {
			s.Outputs[o].Unconfirmed |= was.Outputs[o].Unconfirmed
		}
	}),
	stepMutant("dropped state", "power-up starts with what ran before", func(_ *interlock.Config, s *interlock.State, _ *interlock.Inputs) {
		if !s.Running {
			for o := range s.Outputs {
				s.Outputs[o].Armed = true
			}
			s.Running = true
		}
	}, func(_ *interlock.Config, was, s *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		if !was.Running {
			d.Coils = 1
		}
	}),
	stepMutant("swapped branch", "a bypass covers lost as well", nil, func(c *interlock.Config, was, s *interlock.State, _ *interlock.Inputs, d *interlock.Decision) {
		for i := range c.Bypasses {
			if s.Bypasses[i].Active > 0 && s.Channels[c.Bypasses[i].Channel].Phase == monitor.Lost {
				for o := range s.Outputs {
					if was.Outputs[o].Mode == interlock.Enabled {
						s.Outputs[o] = was.Outputs[o]
						d.Coils |= 1 << o
					}
				}
			}
		}
	}),
	stepMutant("dropped state", "a bypass clears the wait", nil, func(c *interlock.Config, _, s *interlock.State, _ *interlock.Inputs, _ *interlock.Decision) {
		for i := range c.Bypasses {
			if s.Bypasses[i].Active > 0 {
				for v := range s.Vessels {
					s.Vessels[v].Clear = true
				}
			}
		}
	}),
}

// engineMutants are mistakes in the search itself.
var engineMutants = []Mutant{
	{Name: "the search skips every seventh row", Kind: "engine", skip: func(row, _ int) bool { return row%7 == 6 }},
	{Name: "the search stops expanding after some levels", Kind: "engine", skip: func(_, level int) bool { return level > 12 }},
}

// Mutants lists everything that the self-check plants.
func Mutants() []Mutant {
	var all []Mutant
	for _, list := range [...][]Mutant{channelMutants, outputMutants, vesselMutants, stepMutants, engineMutants} {
		all = append(all, list...)
	}
	return all
}
