package sim

import (
	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// Told is one line of the sequence of events. Of a deed of the plant only What
// is set.
type Told struct {
	tell.Told
	Scan  uint64 // of the scenario
	Kind  string
	Plant bool // it happened to the plant, the logic did not decide it
}

// story collects what is told.
type story struct {
	zero uint64
	told []Told
	open uint64 // outputs whose bus cycle after a trip is not over
	seen [interlock.MaxOutputs]interlock.CauseSet
}

// mostTold bounds the sequence of events of one run; what comes after is
// counted, not kept.
const mostTold = 200_000

func (s *story) add(t Told) {
	if len(s.told) < mostTold {
		s.told = append(s.told, t)
	}
}

// plant is told what happened to the plant.
func (s *story) plant(scan uint64, what Deed) {
	if scan >= s.zero {
		s.add(Told{Told: tell.Told{What: what.Text}, Scan: scan - s.zero, Kind: "plant", Plant: true})
	}
}

// logic tells what the logic decided in one scan.
func (s *story) logic(v *view, scan uint64) {
	if v.plant.off > 0 { // without supply there is nobody to tell
		s.open = 0
		return
	}
	for i := range v.Decision.Events {
		s.add(told(v, &v.Decision.Events[i], scan))
	}
	if s.open != 0 {
		s.watchOrder(v, scan)
	}
	for i := range v.Decision.Events {
		if e := &v.Decision.Events[i]; e.Kind == interlock.OutputTripped {
			record := &v.State.Outputs[e.Subject].Trip
			s.seen[e.Subject] = record.Alongside
			if record.Window > 0 {
				s.open |= 1 << e.Subject
			}
		}
	}
}

// watchOrder tells when a second cause turns up within the bus cycle of a trip.
func (s *story) watchOrder(v *view, scan uint64) {
	for i := range v.State.Outputs {
		if s.open>>i&1 == 0 {
			continue
		}
		record := &v.State.Outputs[i].Trip
		if record.Alongside != s.seen[i] {
			s.seen[i] = record.Alongside
			both := record.FirstOut
			for w := range both {
				both[w] |= record.Alongside[w]
			}
			s.add(Told{Told: v.scene().OrderNotKnown(i, both), Scan: scan, Kind: tell.OrderNotKnown})
		}
		if record.Window == 0 || v.State.Outputs[i].Mode != interlock.Tripped {
			s.open &^= 1 << i
		}
	}
}

// told puts one event into words. Of a trip it adds what the trip has won.
func told(v *view, e *interlock.Event, scan uint64) Told {
	t := Told{Told: v.scene().Tell(e), Scan: scan, Kind: e.Kind.String()}
	if e.Kind == interlock.OutputTripped {
		t.Why = append(t.Why, decades(v, e.Subject, v.State.Outputs[e.Subject].Trip.FirstOut)...)
	}
	return t
}

// scene is the scan as words are found for it.
func (v *view) scene() *tell.Scene {
	return &tell.Scene{
		Names: &v.plant.called, Config: v.plant.Logic, Period: v.plant.Period, Ohms: quantity.Ohms,
		In: v.In, State: v.State, Decision: v.Decision,
	}
}

// Ohms writes a reading with three digits, as people do.
func Ohms(v monitor.Microohm) string { return quantity.Ohms(int64(tell.Digits(v))) }

// Final is what an output is at the end, or what a vessel waits for.
type Final struct {
	Text    string
	Enabled bool // an output that runs
}

// final says what every output is at the end, and what vessels wait for.
func final(v *view) []Final {
	var list []Final
	scene := v.scene()
	for i := range v.State.Outputs {
		list = append(list, Final{scene.Output(i), v.State.Outputs[i].Mode == interlock.Enabled})
	}
	for i := range v.State.Vessels {
		if text := scene.Vessel(i); text != "" {
			list = append(list, Final{Text: text})
		}
	}
	return list
}
