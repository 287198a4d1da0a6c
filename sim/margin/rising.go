package margin

import (
	"fmt"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Rising is answer (ii): is a rising resistance caught before the critical one?
type Rising struct {
	Standing verdict.Verdict   `json:"standing"`
	Why      string            `json:"why"`
	Channels []RisingChannel   `json:"channels"`
	Critical interval.Interval `json:"critical"` // Ω, where the part reaches what ignites
	Design   interval.Interval `json:"design"`   // Ω, 100 V over the current, behind the limits in the codes
}

// RisingChannel is one channel's part in it.
type RisingChannel struct {
	Channel string `json:"channel"`
	// Threshold is the true resistance of the bond at which it is high, Ω: the
	// limit less what the leads add to the reading, to the limit plus uncertainty.
	Threshold   interval.Interval `json:"threshold"`
	Leads       interval.Interval `json:"leads"`       // Ω
	Uncertainty float64           `json:"uncertainty"` // Ω
	Decades     interval.Interval `json:"decades"`     // between threshold and critical
	Share       float64           `json:"share_of_bad_readings_tolerated"`
}

func (b *bench) rising(nd *node, f flow, body body, stops []int, n *notes) Rising {
	limits := charge.ResistanceLimits(f.current, body.everCapacitance(), body.ignition)
	a := Rising{Standing: verdict.Shown, Critical: limits.Critical, Design: limits.Design, Channels: []RisingChannel{}}
	if body.spark() != body.capacitance {
		// Charge collected at one capacitance sparks at another, lower one.
		held := body.capacitance.Mul(f.current)
		a.Critical = a.Critical.Min(body.ignition.Charge(body.spark()).Div(held))
	}
	if len(nd.channels) == 0 {
		a.Standing, a.Why = verdict.NotShown, "no channel reads its resistance"
		return a
	}
	for _, i := range nd.channels {
		c := b.risingChannel(&b.site.Channels[i], i, n)
		c.Decades = charge.Decades(c.Threshold, a.Critical)
		a.Channels = append(a.Channels, c)
		switch {
		case c.Decades.Hi <= 0:
			a.Standing = verdict.Worse(a.Standing, verdict.Violated)
		case c.Decades.Lo <= 0:
			a.Standing = verdict.Worse(a.Standing, verdict.NotShown)
		}
	}
	switch {
	case len(stops) == 0:
		a.Standing, a.Why = verdict.Violated, "it is seen, but nothing that carries the stream trips on it whatever else is true"
	case a.Standing == verdict.Shown:
		a.Why = "caught before the critical one"
	case a.Standing == verdict.Violated:
		a.Why = "the limit lies above the critical resistance"
	default:
		a.Why = "the error of measurement decides: the limit is too near to the critical resistance"
	}
	return a
}

// Shares of the reject limit taken as uncertainty where the file is silent.
const (
	metalUncertainty       = 0.1
	dissipativeUncertainty = 0.5
)

// copperResistivity is that of annealed copper at 20 °C, Ω mm²/m (1/58).
const copperResistivity = 0.017241

// leadsDefault is the loop of leads where the file is silent, Ω.
const leadsDefault = 1

func (b *bench) risingChannel(c *site.Channel, i int, n *notes) RisingChannel {
	path := "channels." + c.Name
	limit := float64(c.Reject) * 1e-6
	r := RisingChannel{Channel: c.Name, Uncertainty: float64(c.Uncertainty) * 1e-6, Leads: leads(c, path, n)}
	if c.Uncertainty == 0 {
		share := metalUncertainty
		if c.Kind == "dissipative" {
			share = dissipativeUncertainty
		}
		r.Uncertainty = share * limit
		n.assume("uncertainty of "+c.Name, interval.Point(r.Uncertainty), "Ω", path+".uncertainty", fmt.Sprintf("common practice: %.0f %% of the limit", share*100))
	}
	for _, t := range b.timings[i].Patience {
		if t.Of > 0 {
			r.Share = max(r.Share, float64(t.Tolerated)/float64(t.Of))
		}
	}
	lowest := max(limit-r.Leads.Hi-r.Uncertainty, 1e-6) // never at or below nothing
	r.Threshold = interval.Interval{Lo: lowest, Hi: limit + r.Uncertainty}
	return r
}

// leads is the resistance of the loop of leads, Ω. Whether the transmitter
// takes it off the reading is not known: both are counted.
func leads(c *site.Channel, path string, n *notes) interval.Interval {
	switch {
	case c.Leads.Measured.Set:
		return upTo(n.file("leads of "+c.Name, c.Leads.Measured, "Ω", path+".leads.measured").Hi)
	case c.Leads.Length.Set && c.Leads.Area > 0:
		loop := upTo(2 * c.Leads.Length.Hi / c.Leads.Area * copperResistivity)
		return n.assume("leads of "+c.Name, loop, "Ω", path+".leads.measured", "common practice: copper, there and back, 20 °C")
	}
	return n.assume("leads of "+c.Name, upTo(leadsDefault), "Ω", path+".leads", "common practice: a loop of some tens of metres")
}
