package sim

import "ohmgate/interlock/site"

// The temperature coefficient of copper at 20 °C, per kelvin: NBS Handbook 100,
// from memory; equals 1/254.5.
const copperPerKelvin = 0.00393

// ohmPerKilometre is the largest resistance of plain copper conductors at
// 20 °C, IEC 60228:2004, by cross-section in mm²: classes 1 and 2, and class 5.
var ohmPerKilometre = map[float64][2]float64{
	0.5: {36.0, 39.0}, 0.75: {24.5, 26.0}, 1: {18.1, 19.5}, 1.5: {12.1, 13.3}, 2.5: {7.41, 7.98},
	4: {4.61, 4.95}, 6: {3.08, 3.30}, 10: {1.83, 1.91}, 16: {1.15, 1.21}, 25: {0.727, 0.780},
	35: {0.524, 0.554}, 50: {0.387, 0.386},
}

// leadAt20 is the loop resistance of a lead at 20 °C: as measured where the
// site says so, else the standard's largest for its length and cross-section.
func leadAt20(l *site.Leads) float64 {
	if l.Measured.Set {
		at := 20.0
		if l.At.Set {
			at = middle(l.At)
		}
		return middle(l.Measured) / atTemperature(1, at)
	}
	row, ok := ohmPerKilometre[l.Area]
	if !ok || !l.Length.Set {
		return 0
	}
	perKilometre := row[0]
	if l.Class >= 5 {
		perKilometre = row[1]
	}
	return float64(2*middle(l.Length)*perKilometre) / 1000
}

// atTemperature is a copper resistance of so many ohms at 20 °C, elsewhere.
func atTemperature(ohms, celsius float64) float64 {
	return float64(ohms * (1 + float64(copperPerKelvin*(celsius-20))))
}

// middle is the middle of an interval; 0 where the site is silent.
func middle(s site.Span) float64 { return float64((s.Lo + s.Hi) * 0.5) }

// wire is what the transmitter has at its terminals when the clamp end of the
// lead sees a loop.
func (c *channel) wire(scan uint64, loop float64) float64 {
	celsius := c.celsius
	var short, leak *acting
	broken := false
	for _, a := range c.acting {
		switch a.fault.Name {
		case "lead_temperature":
			elapsed := float64(scan-a.begun) * c.seconds
			celsius += float64((a.num[0] - celsius) * ramp(elapsed, a.num[1]))
		case "shorted_leads":
			short = a
		case "leak_path":
			leak = a
		case "broken_wire":
			broken = true
		}
	}
	run := atTemperature(c.lead, celsius)
	seen := loop + run
	if broken { // the wire parts at the far end of the run
		seen = isolated
	}
	if short != nil {
		behind := loop + float64(run*(1-short.num[0]))
		if broken {
			behind = isolated
		}
		seen = parallel(short.num[1], behind) + float64(run*short.num[0])
	}
	if leak != nil {
		seen = parallel(seen, leak.num[0])
	}
	return seen
}
