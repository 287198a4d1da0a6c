package review

import (
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
	"ohmgate/sim/margin"
)

// subject is the site with everything that was computed from it.
type subject struct {
	*site.Site
	config  *interlock.Config
	timings []site.Timings // by channel
	margin  *margin.Report
}

func newSubject(s *site.Site, tool string) (*subject, error) {
	config, problems := s.Logic()
	if err := problems.Err(); err != nil {
		return nil, err
	}
	report, err := margin.Study(s, tool)
	if err != nil {
		return nil, err
	}
	sub := &subject{Site: s, config: config, margin: report}
	for i := range s.Channels {
		sub.timings = append(sub.timings, s.Timing(config, i))
	}
	return sub, nil
}

// eachChannel, eachOutput, eachStream and eachVessel go through the site with
// the path of each thing.
func (s *subject) eachChannel(do func(c *site.Channel, path string)) {
	for i := range s.Channels {
		do(&s.Channels[i], "channels."+s.Channels[i].Name)
	}
}

func (s *subject) eachOutput(do func(o *site.Output, path string)) {
	for i := range s.Outputs {
		do(&s.Outputs[i], "outputs."+s.Outputs[i].Name)
	}
}

func (s *subject) eachStream(do func(v *site.Stream, path string)) {
	for i := range s.Streams {
		do(&s.Streams[i], "streams."+s.Streams[i].Name)
	}
}

func (s *subject) eachVessel(do func(v *site.Vessel, path string)) {
	for i := range s.Vessels {
		do(&s.Vessels[i], "vessels."+s.Vessels[i].Name)
	}
}

// eachLine goes through margin's lines, each node and stream once.
func (s *subject) eachLine(do func(l *margin.Line, path string)) {
	for i := range s.margin.Lines {
		l := &s.margin.Lines[i]
		path := "vessels." + l.Node
		if l.Role == margin.RolePart || s.VesselIndex(l.Node) < 0 {
			path = "parts." + l.Node
		}
		do(l, path)
	}
}

// timing is what one channel's times come to.
func (s *subject) timing(c *site.Channel) *site.Timings { return &s.timings[s.ChannelIndex(c.Name)] }

// permissive of an output, compiled.
func (s *subject) permissive(o *site.Output) interlock.Permissive {
	return s.config.Outputs[s.OutputIndex(o.Name)].Permissive
}

// streamsOf are the streams that an output carries.
func (s *subject) streamsOf(output string) (list []*site.Stream) {
	for i := range s.Streams {
		if has(s.Streams[i].Through, output) {
			list = append(list, &s.Streams[i])
		}
	}
	return list
}

// streamsInto are the streams that charge a vessel.
func (s *subject) streamsInto(vessel string) (list []*site.Stream) {
	for i := range s.Streams {
		if has(s.Streams[i].Charges, vessel) {
			list = append(list, &s.Streams[i])
		}
	}
	return list
}

// vesselOf is the vessel that a channel watches or watches a part of.
func (s *subject) vesselOf(c *site.Channel) *site.Vessel {
	if i := s.VesselOf(c); i >= 0 {
		return &s.Vessels[i]
	}
	return nil
}

// bypassOf is the bypass of a channel, nil if there is none.
func (s *subject) bypassOf(channel string) *site.Bypass {
	for i := range s.Bypasses {
		if s.Bypasses[i].Channel == channel {
			return &s.Bypasses[i]
		}
	}
	return nil
}

// readingPeriod is how far two readings of one channel are apart.
func (s *subject) readingPeriod() site.Times {
	if s.Poll > s.Period.Max {
		return site.Times{Min: s.Poll, Max: s.Poll}
	}
	return s.Period
}

// targetLevel is the integrity that the site asks for, 0 where it is silent.
func (s *subject) targetLevel() int {
	level := levelIn(s.Requirement["target"])
	for i := range s.Functions {
		level = max(level, s.Functions[i].Target)
	}
	return level
}

// levelIn finds "SIL 2" or "PL d" in a text.
func levelIn(text string) int {
	words := strings.Fields(strings.ToUpper(strings.NewReplacer(",", " ", "SIL", " SIL ", "PL ", " PL ").Replace(strings.ToUpper(text))))
	for i := 0; i+1 < len(words); i++ {
		switch words[i] {
		case "SIL":
			if n, err := strconv.Atoi(strings.Trim(words[i+1], ".;:()")); err == nil {
				return n
			}
		case "PL":
			return map[string]int{"B": 1, "C": 1, "D": 2, "E": 3}[strings.Trim(words[i+1], ".;:()")]
		}
	}
	return 0
}

func has(list []string, word string) bool {
	for _, have := range list {
		if have == word {
			return true
		}
	}
	return false
}

// word is a free text as a word of the tables: small letters, blanks.
func word(text string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimSpace(text), "_", " "))
}

// mentions reports that a text holds one of the words.
func mentions(text string, words ...string) bool {
	text = strings.ToLower(text)
	for _, w := range words {
		if strings.Contains(text, w) {
			return true
		}
	}
	return false
}

func ohms(m monitor.Microohm) string { return quantity.Ohms(int64(m)) }

func ohmsOf(r float64) string { return quantity.Ohms(int64(r*1e6 + 0.5)) }

func span(d time.Duration) string { return quantity.Duration(d) }

func seconds(s float64) string {
	d := time.Duration(s * 1e9)
	switch {
	case d > time.Minute:
		d = d.Round(time.Second)
	case d > time.Second:
		d = d.Round(10 * time.Millisecond)
	default:
		d = d.Round(time.Millisecond / 10)
	}
	return quantity.Duration(d)
}
