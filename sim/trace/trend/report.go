package trend

import (
	"math"
	"time"

	"ohmgate/monitor"
)

// Confidence of every interval.
const Confidence = 0.95

const (
	day = 86400.0 // s
	// leastDays and leastPoints are what it takes to speak of a trend: less says
	// more about the weather of one shift than about a clamp.
	leastDays   = 1.0
	leastPoints = 20
	// horizonDays is how far ahead a line is drawn out.
	horizonDays = 3650.0
)

// Channel is what is known of one channel.
type Channel struct {
	Channel  string  `json:"channel"`
	Readings uint64  `json:"readings"`
	Points   int     `json:"points"` // medians through which the line goes
	Days     float64 `json:"days"`
	Now      float64 `json:"now_ohms"` // the line at the last reading
	Slope    float64 `json:"slope_ohms_per_day"`
	Low      float64 `json:"slope_low_ohms_per_day"`
	High     float64 `json:"slope_high_ohms_per_day"`

	Verdict string    `json:"verdict"` // trend, no trend, falling, too short
	Accept  *Crossing `json:"accept,omitempty"`
	Reject  *Crossing `json:"reject,omitempty"`
}

// Crossing is when a limit is crossed, in days after the beginning of the
// recording; negative infinity never occurs: what is crossed already is 0 days
// ahead. Latest is 0 where it is not within the horizon.
type Crossing struct {
	Ohms      float64 `json:"ohms"`
	Earliest  float64 `json:"earliest_day"`
	Likely    float64 `json:"likely_day"`
	Latest    float64 `json:"latest_day,omitempty"`
	Date      string  `json:"earliest_date,omitempty"`
	LikelyOn  string  `json:"likely_date,omitempty"`
	AlreadyIn bool    `json:"crossed_already,omitempty"`
}

// Report judges every channel. start is when the recording began; zero where it
// has no date.
func (c *Collector) Report(start time.Time) []Channel {
	var list []Channel
	for i := range c.channels {
		list = append(list, c.channels[i].judge(c.header.Channels[i], &c.config.Channels[i].Config, start))
	}
	return list
}

func (t *thinned) judge(name string, config *monitor.Config, start time.Time) Channel {
	r := Channel{Channel: name, Readings: t.total, Points: len(t.buckets), Days: (t.last - t.first) / day, Verdict: "too short"}
	if r.Points < leastPoints || r.Days < leastDays {
		return r
	}
	var x, y []float64
	for i := range t.buckets {
		b := &t.buckets[i]
		x, y = append(x, median(b.times)/day), append(y, median(b.values))
	}
	line, ok := Fit(x, y, Confidence)
	if !ok {
		return r
	}
	now := t.last / day
	r.Slope, r.Low, r.High, r.Now = line.Slope, line.Low, line.High, line.Intercept+line.Slope*now
	switch {
	case line.Low > 0:
		r.Verdict = "trend"
		r.Accept = line.crosses(float64(config.Accept)/1e6, now, start)
		r.Reject = line.crosses(float64(config.Reject)/1e6, now, start)
	case line.High < 0:
		r.Verdict = "falling"
	default:
		r.Verdict = "no trend"
	}
	return r
}

// crosses says when the line reaches a limit; nil if not within the horizon. The
// earliest day comes from the steepest slope through the middle of the points.
func (l *Line) crosses(limit, now float64, start time.Time) *Crossing {
	at := func(slope float64) float64 { return l.MiddleX + (limit-l.MiddleY)/slope }
	c := &Crossing{Ohms: limit, Earliest: at(l.High), Likely: (limit - l.Intercept) / l.Slope, Latest: at(l.Low)}
	if math.IsInf(l.High, 1) {
		c.Earliest = now
	}
	if c.Earliest > now+horizonDays {
		return nil
	}
	c.AlreadyIn = l.Intercept+l.Slope*now >= limit
	c.Earliest, c.Likely = max(c.Earliest, now), max(c.Likely, now)
	if c.AlreadyIn {
		c.Earliest, c.Likely = now, now
	}
	if c.Latest > now+horizonDays || c.Latest < now {
		c.Latest = 0
	}
	if !start.IsZero() {
		date := func(days float64) string {
			return start.Add(time.Duration(math.Min(days, 50*365) * day * 1e9)).Format("2006-01-02")
		}
		c.Date, c.LikelyOn = date(c.Earliest), date(c.Likely)
	}
	return c
}
