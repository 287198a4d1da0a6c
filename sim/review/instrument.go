package review

import (
	"math"
	"strings"
	"time"

	"ohmgate/interlock/site"
)

var dissipativeRules = []Rule{
	{"R020", Must, "with nothing connected a megohm channel may read as a bond",
		"Damp plugs and cable capacitance read as megohms. The reading with nothing connected must be ten times the limit, recorded with the humidity.",
		byTrade, practice, "measure it on a damp day and write hanging_free",
		perDissipative(func(s *subject, c *site.Channel, path string, say say) {
			if c.HangingFree == 0 {
				say(path, "hanging_free is not given")
			}
		})},
	{"R021", Must, "the reading with nothing connected is too near to the limit",
		"A wet plug of that resistance reads good with no bag.",
		byTrade, practice, "clean and dry the plug, take another instrument, or lower reject",
		perDissipative(func(s *subject, c *site.Channel, path string, say say) {
			if c.HangingFree > 0 && c.HangingFree < 10*c.Reject {
				say(path+".hanging_free", "hanging_free %s is below ten times reject %s", ohms(c.HangingFree), ohms(c.Reject))
			}
		})},
	{"R022", Must, "a clamp on the frame reads as a bag",
		"Next to nothing is far too good for a dissipative thing; without a floor it is good.",
		byTrade, practice, "write a plausible_floor, such as 10 kΩ",
		perDissipative(func(s *subject, c *site.Channel, path string, say say) {
			if c.Floor == 0 {
				say(path, "no plausible_floor")
			}
		})},
	{"R023", Should, "what a megohm reading is worth is not told",
		"Humidity, response time and uncertainty decide whether the limit means anything.",
		byTrade, practice, "write hanging_humidity, response_time and uncertainty",
		perDissipative(func(s *subject, c *site.Channel, path string, say say) {
			var blank []string
			for _, key := range []string{"hanging_humidity", "response_time", "uncertainty"} {
				if !s.Has(path + "." + key) {
					blank = append(blank, key)
				}
			}
			if blank != nil {
				say(path, "not given: %s", strings.Join(blank, ", "))
			}
		})},
	{"R024", Must, "a bond counts before the measurement has settled",
		"100 MΩ and 1 nF take half a second to settle; readings before that are of the past.",
		byTrade, practice, "make settle.time longer than response_time",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.ResponseTime > c.SettleTime {
				say(path+".settle.time", "settles in %s, the measurement takes %s", span(c.SettleTime), span(c.ResponseTime))
			}
		})},
	{"R025", Must, "outside what the bag standard holds for",
		"IEC 61340-4-4 is tested for ignition energies of 0.14 mJ and more and currents of 3 µA at most.",
		byBag, seen, "keep current and atmosphere inside, or judge this case apart",
		func(s *subject, say say) {
			s.eachVessel(func(v *site.Vessel, path string) {
				if word(v.Object) != "fibc" {
					return
				}
				if v.Ignition.Set && v.Ignition.Lo < 0.14e-3*(1-1e-9) {
					say(path+".ignition", "%.2g mJ ignites its surroundings", v.Ignition.Lo*1e3)
				}
				for _, st := range s.streamsInto(v.Name) {
					if i := currentOf(st); i > 3e-6*(1+1e-9) {
						say("streams."+st.Name, "up to %.2g µA into %s", i*1e6, v.Name)
					}
				}
			})
		}},
}

// currentOf is the highest charging current that the file gives, A; 0 where it
// gives none.
func currentOf(st *site.Stream) float64 {
	if st.Current.Set {
		return st.Current.Hi
	}
	return st.MassFlow.Hi * st.ChargePerKg.Hi
}

func perDissipative(ask func(s *subject, c *site.Channel, path string, say say)) func(*subject, say) {
	return perChannel(func(s *subject, c *site.Channel, path string, say say) {
		if c.Kind == "dissipative" {
			ask(s, c, path, say)
		}
	})
}

// Sampling against rotation.
const (
	slowBeat  = 1.0 // Hz, below which samples stand still against the turn for too long
	harmonics = 3   // of the turn that are looked at: k fixed samples a turn miss an opening of up to 1/k
)

// beat is how fast the samples drift against the k-th harmonic of a rotation,
// Hz: the least over every rate that the reading period allows, and the
// multiple of that rate that is near. Slower than the readings nothing beats.
func beat(turns float64, k int, period site.Times) (drift float64, times int) {
	f := turns * float64(k)
	slow, fast := 1/period.Max.Seconds(), 1/period.Min.Seconds()
	below, over := math.Floor(f/fast), math.Ceil(f/slow)
	if f/fast <= math.Floor(f/slow) && f/slow >= 1 {
		return 0, int(math.Floor(f / slow)) // one of the rates is met exactly
	}
	drift, times = over*slow-f, int(over)
	if d := f - below*fast; below >= 1 && d < drift {
		drift, times = d, int(below)
	}
	return drift, times
}

// beats finds the lowest harmonic of a rotation that the readings beat with; 0
// if none does, or if one reading spans a whole turn.
func (s *subject) beats(c *site.Channel, perMinute float64) (k int, drift float64) {
	turns := perMinute / 60
	if turns <= 0 || c.Aperture.Seconds()*turns >= 1 {
		return 0, 0
	}
	for k := 1; k <= harmonics; k++ {
		if d, n := beat(turns, k, s.readingPeriod()); n > 0 && d < slowBeat {
			return k, d
		}
	}
	return 0, 0
}

func beatRule(fundamental bool) func(*subject, say) {
	return perChannel(func(s *subject, c *site.Channel, path string, say say) {
		for _, speed := range c.RotationsPerMin {
			k, drift := s.beats(c, speed)
			if k == 0 || (k == 1) != fundamental {
				continue
			}
			lasts := "for good"
			if drift > 0 {
				lasts = "for " + seconds(1/drift/float64(2*k))
			}
			say(path+".rotations", "%.4g turns/min, a reading every %s: stands still %s", speed, span(s.readingPeriod().Max), lasts)
		}
	})
}

// mainsPeriods are whole periods of 50 Hz and 60 Hz.
var mainsPeriods = []time.Duration{20 * time.Millisecond, time.Second / 60}

// rejectsMains reports that an aperture holds whole periods of one of the mains,
// to a hundredth.
func rejectsMains(aperture time.Duration) bool {
	for _, period := range mainsPeriods {
		n := math.Round(float64(aperture) / float64(period))
		if n >= 1 && math.Abs(float64(aperture)-n*float64(period)) < 0.01*float64(aperture) {
			return true
		}
	}
	return false
}

var instrumentRules = []Rule{
	{"R030", Must, "the readings beat with a rotation",
		"A contact that opens once a turn is then read good for long, or for ever, while it opens all the time.",
		byTrade, practice, "an aperture of a whole turn with peak hold, or another reading rate",
		beatRule(true)},
	{"R031", Should, "the readings beat with a harmonic of a rotation",
		"The samples fall on two or three fixed places of the turn: an opening between them is not seen for long.",
		byTrade, practice, "an aperture of a whole turn with peak hold, or another reading rate",
		beatRule(false)},
	{"R032", Note, "machines run, and no rotation is declared",
		"Whether the readings beat with what shakes the clamp can not be judged.",
		byTrade, practice, "write rotations: the speeds of the machines that shake it",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			v := s.vesselOf(c)
			if v == nil || len(c.RotationsPerMin) > 0 {
				return
			}
			for _, st := range s.streamsInto(v.Name) {
				for _, name := range st.Through {
					if o := &s.Outputs[s.OutputIndex(name)]; o.Actuator != "valve" && o.Actuator != "contact" {
						say(path, "%s (%s) turns beside it", name, o.Actuator)
						return
					}
				}
			}
		})},
	{"R033", Should, "measured with one polarity",
		"Stray direct current, as rails and cathodic protection carry, moves the reading either way: at 1 mA, 50 mV are 50 Ω.",
		byTrade, practice, "a transmitter that measures with both polarities and compares: both_poles: yes",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Kind == "metal" && !c.Transmitter.BothPoles {
				say(path+".transmitter", "both_poles is not yes")
			}
		})},
	{"R034", Note, "the aperture is no whole period of the mains",
		"Mains pickup does not average out.",
		byTrade, practice, "an aperture of a multiple of 20 ms (or 16.7 ms), counted in detection",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if !rejectsMains(c.Aperture) {
				say(path+".aperture", "aperture %s", span(c.Aperture))
			}
		})},
	{"R035", Note, "intrinsic safety is not judged here",
		"Long leads add capacitance and inductance that the circuit's certificate must allow; a rig on a live intrinsically safe loop voids it.",
		byTrade, practice, "check cable against the certificate's Co and Lo; keep the rig off live circuits",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Leads.Length.Hi >= 10 {
				say(path+".leads.length", "leads of %.3g m", c.Leads.Length.Hi)
			} else if s.Rig.Set {
				say(path, "a rig is described")
			}
		})},
	{"R036", Should, "an analogue output carries no stamp of the device",
		"With 4-20 mA the stamp is that of the input card: it runs on while the transmitter's own value stands.",
		byTrade, practice, "write device_stamp: no, or use a digital output",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Stamped && mentions(c.Transmitter.Output, "ma", "0-10 v", "analog") {
				say(path+".device_stamp", "device_stamp: yes, output %s", c.Transmitter.Output)
			}
		})},
	{"R037", Note, "the uncertainty is not told",
		"The margin then takes a default.",
		byTrade, practice, "write uncertainty: what the reading may be wrong by at the limit",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Kind == "metal" && c.Uncertainty == 0 {
				say(path, "uncertainty is not given")
			}
		})},
}
