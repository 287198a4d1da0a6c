package margin

import (
	"testing"

	"pgregory.net/rapid"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge/interval"
)

// narrowed picks a point, or a smaller interval, inside a span.
func narrowed(t *rapid.T, s *site.Span) {
	if !s.Set || s.Lo == s.Hi {
		return
	}
	a := rapid.Float64Range(0, 1).Draw(t, "end")
	b := a
	if rapid.Bool().Draw(t, "interval") {
		b = rapid.Float64Range(a, 1).Draw(t, "other end")
	}
	width := s.Hi - s.Lo
	s.Lo, s.Hi = s.Lo+a*width, min(s.Lo+b*width, s.Hi)
}

// slack covers how tightly extrema over the capacitance are enclosed (2e-3 in
// sim/charge) and the numerics.
const slack = 5e-3

func holds(t *rapid.T, outer, inner interval.Interval, what string) {
	if wide := outer.Widen(slack); !wide.Encloses(inner) {
		t.Fatalf("%s: %v does not hold %v", what, outer, inner)
	}
}

// Knowing more never leads outside of what was said before: every answer of a
// site whose intervals are narrowed lies in the answer of the site as it was.
func TestKnowingMoreStaysInside(t *testing.T) {
	for _, name := range []string{"margin/seven_situations.yaml", "hazel_works.yaml"} {
		before := reportOf(t, name)
		rapid.Check(t, func(t *rapid.T) {
			s, problems := site.Read(sites + "/" + name)
			if problems != nil {
				t.Fatal(problems)
			}
			for i := range s.Vessels {
				v := &s.Vessels[i]
				for _, span := range []*site.Span{&v.Capacitance, &v.CapacitanceLow, &v.Leak} {
					narrowed(t, span)
				}
			}
			for i := range s.Streams {
				narrowed(t, &s.Streams[i].Current)
				narrowed(t, &s.Streams[i].ChargePerKg)
				narrowed(t, &s.Streams[i].ProfileTime)
			}
			for i := range s.Outputs {
				narrowed(t, &s.Outputs[i].DeadTime)
				narrowed(t, &s.Outputs[i].OutputDelay)
			}
			for i := range s.Parts {
				narrowed(t, &s.Parts[i].Capacitance)
			}
			after, err := study(s, "test", true)
			if err != nil {
				t.Fatal(err)
			}
			inside(t, before, after)
		})
	}
}

func inside(t *rapid.T, before, after *Report) {
	for i := range before.Lines {
		was, is := &before.Lines[i], &after.Lines[i]
		what := was.Node + " "
		holds(t, was.Rising.Critical, is.Rising.Critical, what+"critical resistance")
		holds(t, was.Loss.TimeToIncendive, is.Loss.TimeToIncendive, what+"time to incendive")
		if was.Loss.Outcome == nil {
			continue
		}
		a, b := was.Loss.Outcome, is.Loss.Outcome
		holds(t, was.Loss.Delay, is.Loss.Delay, what+"delay")
		holds(t, a.End, b.End, what+"end")
		holds(t, a.AtStop, b.AtStop, what+"charge")
		holds(t, a.Energy, b.Energy, what+"energy")
		holds(t, a.Ratio, b.Ratio, what+"ratio")
		if verdict.Worse(is.Loss.Standing, verdict.NotShown) != verdict.NotShown && was.Loss.Standing == verdict.Shown {
			t.Fatalf("%s: shown before, violated when more is known", what)
		}
		wide, ok := was.Wait.Computed.Time()
		if narrow, known := is.Wait.Computed.Time(); ok && known {
			holds(t, wide, narrow, what+"wait")
		}
	}
}
