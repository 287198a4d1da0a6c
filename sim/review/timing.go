package review

import (
	"math"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/monitor"
	"ohmgate/sim/charge"
	"ohmgate/sim/margin"
)

const toleratedShare = 0.25 // of bad readings, above which a loose clamp is forgiven for ever

var timingRules = []Rule{
	{"R040", Should, "an open circuit is ridden longer than a lost reading",
		"An open end is believed at once; a lost frame is not a lost clamp. The other way round the clamp may hang free for longer than the bus may stutter.",
		byTrade, practice, "shorten patience.open, or lengthen patience.invalid and patience.missing",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if open := c.Patience[monitor.Open]; open > c.Patience[monitor.Invalid] || open > c.Patience[monitor.Missing] {
				say(path+".patience.open", "open %s, invalid %s, missing %s", span(open), span(c.Patience[monitor.Invalid]), span(c.Patience[monitor.Missing]))
			}
		})},
	{"R041", Should, "one lost frame trips",
		"Then the error rate of the bus is the trip rate of the plant, and the bypass key lives in the lock.",
		byTrade, practice, "lengthen stale_after, patience.missing and patience.invalid to two polls or more, if the margin allows",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			need := 2 * s.readingPeriod().Max
			missing, invalid := s.timing(c).Of(monitor.Missing).Guaranteed, s.timing(c).Of(monitor.Invalid)
			switch {
			case missing < need:
				say(path+".patience.missing", "silence of %s is ridden, one lost frame is %s", span(missing), span(need))
			case invalid.GuaranteedScans < 1:
				say(path+".patience.invalid", "one bad frame trips")
			}
		})},
	{"R042", Should, "the longest patience outlasts the longest doubt",
		"longest_doubt ends it first: the patience that is written is never had.",
		bySemantics, derived, "lengthen longest_doubt, or shorten the patience",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			for _, class := range []monitor.Class{monitor.High, monitor.Open, monitor.Invalid, monitor.Missing} {
				if c.Patience[class] > c.LongestDoubt {
					say(path+".longest_doubt", "longest_doubt %s, patience.%s %s", span(c.LongestDoubt), class, span(c.Patience[class]))
					return
				}
			}
		})},
	{"R043", Should, "a large share of bad readings is forgiven for ever",
		"The counting rule repays faster than doubt grows: a loose clamp never trips, and each closing is a spark.",
		bySemantics, derived, "more good readings to repay one bad one, such as integrating 4:1",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.Counting != "integrating" {
				return
			}
			if t, of := tolerated(s.timing(c)); float64(t) > toleratedShare*float64(of) {
				say(path+".counting", "%d in %d readings may be bad for ever", t, of)
			}
		})},
	{"R044", Note, "one good reading forgives all doubt",
		"Chatter with a good reading now and then never trips. The good reading is a bond, so charge is bounded by the longest gap, but each closing is a spark.",
		bySemantics, derived, "counting: integrating 4:1 where vibration is expected",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if t, of := tolerated(s.timing(c)); c.Counting == "consecutive" && t > 0 {
				say(path+".counting", "consecutive: %d in %d readings may be bad for ever", t, of)
			}
		})},
	{"R045", Should, "one lost frame starts the settling again",
		"Without a pause of a poll or two a bus with 1 % bad frames takes minutes to bond.",
		byTrade, practice, "write settle.pause of two polls or more",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if c.SettlePause < s.readingPeriod().Max {
				say(path+".settle.pause", "pause %s, one reading every %s", span(c.SettlePause), span(s.readingPeriod().Max))
			}
		})},
	{"R046", Note, "the settle time is not what decides",
		"So many fresh readings take longer than the time that is written.",
		bySemantics, derived, "fewer readings, or write the longer time",
		perChannel(func(s *subject, c *site.Channel, path string, say say) {
			if takes := time.Duration(c.SettleReadings-1) * s.readingPeriod().Max; takes > c.SettleTime {
				say(path+".settle.readings", "%d readings take %s, settle.time %s", c.SettleReadings, span(takes), span(c.SettleTime))
			}
		})},
	{"R047", Note, "what is lost within one poll was lost in an unknown order",
		"First-out names all causes of one bus cycle; which came first nobody knows.",
		bySemantics, derived, "poll faster, or read first-out as a set",
		func(s *subject, say say) {
			if s.config.PollScans > 1 {
				say("poll", "one poll is %d scans", s.config.PollScans)
			}
		}},
	{"R048", Note, "the scan is written as if it never varied",
		"Times are rounded by the shortest and the longest scan; a real machine has both.",
		bySemantics, derived, "write scan as an interval, such as 9..12 ms, once it was measured",
		func(s *subject, say say) {
			if s.Period.Min == s.Period.Max {
				say("scan", "scan %s exactly", span(s.Period.Min))
			}
		}},
	{"R049", Must, "the sparks of a chattering clamp ignite within what is tolerated",
		"A gap that is sure to be ridden charges the vessel to what ignites, at every value of the inputs; closing again is the spark.",
		byMargin, derived, "shorten patience.open, or lower the charging current",
		remakeRule(true)},
	{"R050", Should, "the sparks of a chattering clamp may ignite within what is tolerated",
		"At the worse end of the inputs, and of what is ridden, a gap that does not trip charges the vessel to what ignites.",
		byMargin, derived, "shorten patience and stale_after, narrow the inputs, or lower the charging current",
		remakeRule(false)},
	{"R051", Note, "no window between nuisance and danger",
		"Even without any patience the actuator begins to move after an isolated vessel may ignite: no choice of patience wins, only what comes before or beside the interlock.",
		byMargin, derived, "know it; ohmgate margin lists what would win instead",
		func(s *subject, say say) {
			told := map[string]bool{}
			s.eachVesselLine(func(l *margin.Line, v *site.Vessel, _ *site.Stream) {
				first, danger := s.quickest(l), l.Loss.TimeToIncendive.Lo
				if len(l.Loss.Stops) > 0 && first > danger && !told[v.Name] {
					told[v.Name] = true
					say("vessels."+v.Name, "moves after up to %s without patience, may ignite after %s", seconds(first), seconds(danger))
				}
			})
		}},
}

// tolerated is the largest share of bad readings that is forgiven for ever.
func tolerated(t *site.Timings) (bad, of uint64) {
	of = 1
	for _, p := range t.Patience {
		if p.Of > 0 && p.Tolerated*of > bad*p.Of {
			bad, of = p.Tolerated, p.Of
		}
	}
	return bad, of
}

// quickest is how long it takes, at the most, from a loss to the first movement
// of the quickest actuator if no bad reading at all were tolerated, s: one
// reading and its aperture, one scan, the contact and the dead time.
func (s *subject) quickest(l *margin.Line) float64 {
	reading, actuator := math.Inf(1), math.Inf(1)
	for _, name := range l.Channels {
		c := &s.Channels[s.ChannelIndex(name)]
		reading = min(reading, (c.Aperture + c.ResponseTime + s.readingPeriod().Max).Seconds())
	}
	for _, name := range l.Loss.Stops {
		o := &s.Outputs[s.OutputIndex(name)]
		actuator = min(actuator, o.OutputDelay.Hi+o.DeadTime.Hi)
	}
	return reading + s.Period.Max.Seconds() + actuator
}

// surelyRidden is the longest open gap that is sure to be ridden by a channel of
// the line.
func (s *subject) surelyRidden(l *margin.Line) (gap time.Duration) {
	for _, name := range l.Channels {
		gap = max(gap, s.timings[s.ChannelIndex(name)].Of(monitor.Open).Guaranteed)
	}
	return gap
}

func remakeRule(surely bool) func(*subject, say) {
	return func(s *subject, say say) {
		told := map[string]bool{}
		s.eachLine(func(l *margin.Line, path string) {
			r := l.Loss.Remake
			if r == nil || r.Claim == charge.WinsEverywhere || told[path] {
				return
			}
			gap := s.surelyRidden(l)
			if always := gap.Seconds() > l.Loss.TimeToIncendive.Hi; always != surely {
				return
			}
			told[path] = true
			if surely {
				say(path, "gaps of %s are ridden, all inputs ignite after %s (stream %s)", span(gap), seconds(l.Loss.TimeToIncendive.Hi), l.Stream)
			} else {
				say(path, "gaps of up to %s may be ridden, harmless up to %s (stream %s)", seconds(r.Gap.Hi), seconds(r.HarmlessGap), l.Stream)
			}
		})
	}
}
