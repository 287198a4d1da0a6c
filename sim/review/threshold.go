package review

import (
	"ohmgate/interlock/site"
	"ohmgate/monitor"
	"ohmgate/sim/margin"
)

var thresholdRules = []Rule{
	{"R001", Should, "accept and reject leave no room between them",
		"A reading at the limit then flips between good and high, and doubt is repaid half-way.",
		byTrade, practice, "set accept about a tenth below reject",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Accept >= c.Reject {
				say(path+".accept", "accept %s = reject %s", ohms(c.Accept), ohms(c.Reject))
			}
		})},
	{"R002", Should, "the room between accept and reject is smaller than the uncertainty",
		"What the instrument may be wrong by decides then whether a bond counts.",
		byTrade, practice, "lower accept by the uncertainty at least",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if room := c.Reject - c.Accept; room > 0 && room < c.Uncertainty {
				say(path+".accept", "%s from accept to reject, uncertainty %s", ohms(room), ohms(c.Uncertainty))
			}
		})},
	{"R003", Must, "the limit of a bag may lie above the standard's, by the error of measurement",
		"The limit that counts is the true resistance: reject plus uncertainty.",
		byBag, seen, "lower reject by the uncertainty",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Kind == "dissipative" && c.Reject+c.Uncertainty > 1e8*1e6 {
				say(path+".reject", "reject %s and uncertainty %s come to more than 100 MΩ", ohms(c.Reject), ohms(c.Uncertainty))
			}
		})},
	{"R004", Must, "the limit lies above the critical resistance",
		"At a resistance that still reads good the part reaches what ignites.",
		byMargin, derived, "lower reject, or the charging current",
		perRising(func(r *margin.RisingChannel, say func(format string, args ...any)) {
			if r.Decades.Hi <= 0 {
				say("limit %.3g Ω or less, critical one lower", r.Threshold.Lo)
			}
		})},
	{"R005", Should, "less than one decade between the limit and the critical resistance",
		"The error of measurement, not the logic, then decides whether a rising resistance is caught in time.",
		byMargin, derived, "lower reject, narrow the inputs of the margin, or lower the charging current",
		perRising(func(r *margin.RisingChannel, say func(format string, args ...any)) {
			if r.Decades.Lo < 1 && r.Decades.Hi > 0 {
				say("%.2g decades in the worst case", r.Decades.Lo)
			}
		})},
	{"R006", Should, "over-range counts as an instrument fault",
		"A clamp that hangs free drives the transmitter over range. As invalid it gets the patience of a lost frame and becomes unreadable, not lost.",
		byTrade, practice, "write over_range: open",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.OverRange == "invalid" && s.bypassOf(c.Name) == nil {
				say(path+".over_range", "over-range is invalid")
			}
		})},
	{"R007", Must, "a clamp that hangs free can be bypassed",
		"Over-range counts as invalid here, so an open clamp is unreadable, and the bypass covers that.",
		bySemantics, derived, "write over_range: open, or drop the bypass",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if y := s.bypassOf(c.Name); c.OverRange == "invalid" && y != nil {
				say(path+".over_range", "over-range is invalid and %s covers it", y.Name)
			}
		})},
	{"R008", Should, "an open circuit is invalid before it is open",
		"Readings above valid_up_to are invalid, and that is asked first: open_above is never reached.",
		bySemantics, derived, "set valid_up_to above open_above, or leave it out",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.ValidMax > 0 && c.ValidMax < c.OpenAbove {
				say(path+".valid_up_to", "valid_up_to %s is below open_above %s", ohms(c.ValidMax), ohms(c.OpenAbove))
			}
		})},
	{"R009", Note, "no upper end of the valid band",
		"An amplifier that saturates shows its top value as if it were measured.",
		byTrade, practice, "write valid_up_to: the end of the transmitter's range",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.ValidMax == 0 {
				say(path, "valid_up_to is not given")
			}
		})},
}

// perChannel makes a rule of what is asked of one channel.
func perChannel(ask func(s *subject, c *site.Channel, path string, say say)) func(*subject, say) {
	return func(s *subject, say say) {
		s.eachChannel(func(c *site.Channel, path string) { ask(s, c, path, say) })
	}
}

// perRising asks each channel once about the worst line that it is part of.
func perRising(ask func(r *margin.RisingChannel, say func(format string, args ...any))) func(*subject, say) {
	return func(s *subject, say say) {
		worst := map[string]*margin.RisingChannel{}
		s.eachLine(func(l *margin.Line, _ string) {
			for i := range l.Rising.Channels {
				r := &l.Rising.Channels[i]
				if have := worst[r.Channel]; have == nil || r.Decades.Lo < have.Decades.Lo {
					worst[r.Channel] = r
				}
			}
		})
		s.eachChannel(func(c *site.Channel, path string) {
			if r := worst[c.Name]; r != nil {
				ask(r, func(format string, args ...any) { say(path+".reject", format, args...) })
			}
		})
	}
}

// Copper by IEC 60228 and NBS Handbook 100.
const (
	resistivity   = 0.017241 // Ω mm²/m at 20 °C
	zeroKelvin    = 234.5    // K below 0 °C at which copper's straight line meets zero
	contacts      = 0.1      // Ω, allowance for clamps, terminals and a relay contact
	eatenShare    = 0.1      // of accept that leads may take
	geometryShare = 0.8      // of the geometric resistance that no real loop falls below
)

// maxOhmPerKm is the maximum resistance of plain copper conductors, Ω/km at
// 20 °C, for classes 1, 2 and 5 (6 as 5).
var maxOhmPerKm = map[float64][3]float64{
	0.5: {36.0, 36.0, 39.0}, 0.75: {24.5, 24.5, 26.0}, 1: {18.1, 18.1, 19.5}, 1.5: {12.1, 12.1, 13.3}, 2.5: {7.41, 7.41, 7.98},
	4: {4.61, 4.61, 4.95}, 6: {3.08, 3.08, 3.30}, 10: {1.83, 1.83, 1.91}, 16: {1.15, 1.15, 1.21}, 25: {0.727, 0.727, 0.780},
	35: {0.524, 0.524, 0.554}, 50: {0.387, 0.387, 0.386},
}

// standardLoop is the most that there and back may have at 20 °C, Ω; ok is
// false where the table has no such conductor.
func standardLoop(l *site.Leads) (loop float64, ok bool) {
	row, ok := maxOhmPerKm[l.Area]
	column := map[int]int{1: 0, 2: 1, 5: 2, 6: 2}
	at, known := column[l.Class]
	if !ok || !known || !l.Length.Set {
		return 0, false
	}
	return 2 * l.Length.Hi * row[at] / 1000, true
}

// at20 turns a resistance of copper at t °C into that at 20 °C.
func at20(r, t float64) float64 { return r * (zeroKelvin + 20) / (zeroKelvin + t) }

// coldLoop is the measured loop at the lowest temperature expected, Ω.
func coldLoop(l *site.Leads) (r float64, ok bool) {
	if !l.Measured.Set {
		return 0, false
	}
	if !l.At.Set || !l.Coldest.Set {
		return l.Measured.Lo, true
	}
	return l.Measured.Lo * (zeroKelvin + l.Coldest.Lo) / (zeroKelvin + l.At.Hi), true
}

// loopMost is the most that the leads can add to a reading, Ω.
func loopMost(l *site.Leads) (r float64, ok bool) {
	if l.Measured.Set {
		return l.Measured.Hi, true
	}
	return standardLoop(l)
}

var leadRules = []Rule{
	{"R010", Must, "the leads alone read above accept",
		"No connection, however good, could ever count.",
		by60228, seen, "shorten the leads, or take a larger conductor",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if r, ok := loopMost(&c.Leads); ok && monitor.Microohm(r*1e6) > c.Accept {
				say(path+".leads", "leads %s, accept %s", ohmsOf(r), ohms(c.Accept))
			}
		})},
	{"R011", Should, "the leads eat the limit",
		"What the leads take of the limit is missing at the contact: it trips earlier in summer than in winter.",
		by60228, seen, "shorten the leads, take a larger conductor, or measure with four wires",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			accept := float64(c.Accept) * 1e-6
			if r, ok := loopMost(&c.Leads); ok && r > eatenShare*accept && r <= accept {
				say(path+".leads", "leads %s are %.0f %% of accept", ohmsOf(r), 100*r/accept)
			}
		})},
	{"R012", Should, "the measured loop is above what the conductor may have",
		"IEC 60228 gives a maximum. More, with 0.1 Ω for clamps and terminals, means a bad joint, a broken strand or a longer run.",
		by60228, seen, "find the joint, or correct length, area and class",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			most, ok := standardLoop(&c.Leads)
			if !ok || !c.Leads.Measured.Set || !c.Leads.At.Set {
				return
			}
			if r := at20(c.Leads.Measured.Hi, c.Leads.At.Lo); r > most+contacts {
				say(path+".leads.measured", "%s at 20 °C, at most %s for this run", ohmsOf(r), ohmsOf(most))
			}
		})},
	{"R013", Should, "the measured loop is below what copper can have",
		"A loop of this length and area can not be so good: the jaws were not at its end, or the figures are of another run.",
		"NBS Handbook 100, copper 1/58 Ω mm²/m", secondHand, "measure again with the jaws shorted at the far end",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			l := &c.Leads
			if !l.Measured.Set || !l.At.Set || !l.Length.Set || l.Area == 0 {
				return
			}
			least := geometryShare * 2 * l.Length.Lo * resistivity / l.Area
			if r := at20(l.Measured.Lo, l.At.Hi); r < least {
				say(path+".leads.measured", "%s at 20 °C, at least %s for this run", ohmsOf(r), ohmsOf(least))
			}
		})},
	{"R014", Should, "a perfect bond reads below the floor in the cold",
		"Copper loses 0.393 % a kelvin: a floor set in summer is an instrument fault every winter morning.",
		"NBS Handbook 100, temperature coefficient of copper", fromMemory, "set plausible_floor below the loop at its coldest, less the uncertainty there",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if cold, ok := coldLoop(&c.Leads); ok && c.Kind == "metal" && float64(c.Floor)*1e-6 > cold {
				say(path+".plausible_floor", "floor %s, loop %s at the coldest", ohms(c.Floor), ohmsOf(cold))
			}
		})},
	{"R015", Should, "shorted leads read as a bond, and nothing looks for it",
		"Without a floor a short anywhere along the run is good, whatever the clamp does.",
		byTrade, practice, "write a plausible_floor from the measured leads, or a proof_test that looks for shorts",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Kind == "metal" && c.Floor == 0 && c.ProofTest == "" {
				say(path, "no plausible_floor and no proof_test")
			}
		})},
	{"R016", Note, "the floor sees shorts in the first part of the run only",
		"A short at a share of the run reads that share of the loop; a short at the jaws reads as a perfect bond.",
		bySemantics, derived, "an end-of-line element, or a proof test at the jaws, for the rest",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if cold, ok := coldLoop(&c.Leads); ok && c.Kind == "metal" && cold > 0 {
				if share := min(float64(c.Floor)*1e-6/cold, 1); share < 0.95 {
					say(path+".plausible_floor", "sees shorts in the first %.0f %% of the run", 100*share)
				}
			}
		})},
	{"R017", Note, "the leads are not described",
		"Neither the floor nor what the leads take of the limit can be judged.",
		by60228, seen, "write leads: {length, area, class, measured, at, coldest}",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if _, ok := loopMost(&c.Leads); !ok && c.Kind == "metal" {
				say(path, "leads are not given")
			}
		})},
}
