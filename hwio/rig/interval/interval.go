package interval

import (
	"math"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/sheet"
)

// Moment is when something happened: not before From, not after To.
type Moment struct{ From, To port.Stamp }

// Hull is the shortest interval that holds both.
func (i Moment) Hull(other Moment) Moment {
	if i == (Moment{}) {
		return other
	}
	return Moment{min(i.From, other.From), max(i.To, other.To)}
}

// Span is how long something took: at least, at most.
type Span struct{ Least, Most time.Duration }

// Middle is the middle of it.
func (s Span) Middle() time.Duration { return (s.Least + s.Most) / 2 }

// Took is the time from a stimulus to a response, both known as intervals, widened at both ends by what a plain wire was
// seen to scatter. A response does not come before its stimulus.
func Took(stimulus, response Moment, spread time.Duration) Span {
	return Span{max(response.From.Sub(stimulus.To)-spread, 0), response.To.Sub(stimulus.From) + spread}
}

// Millis is the span for a sheet.
func (s Span) Millis() *sheet.Millis {
	return &sheet.Millis{Least: InMillis(s.Least), Most: InMillis(s.Most)}
}

// InMillis is a time as sheets write it.
func InMillis(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// FromMillis is the other way of InMillis.
func FromMillis(m float64) time.Duration {
	return time.Duration(math.Round(m * float64(time.Millisecond)))
}

// Exactly is a time for people, nothing rounded off.
func Exactly(d time.Duration) string { return sheet.Exactly(InMillis(d)) + " ms" }
