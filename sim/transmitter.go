package sim

import (
	"math"

	"ohmgate/monitor"
)

// disturbance is what noise and stray voltages add to a measurement, in Ω.
// agree is false when a transmitter that measures with both polarities finds
// them too far apart to believe either.
func (c *channel) disturbance(scan uint64) (ohms float64, agree bool) {
	agree = true
	for _, a := range c.acting {
		elapsed := float64(scan-a.begun) * c.seconds
		switch a.fault.Name {
		case "mains_pickup":
			ohms += float64(a.num[0]*c.alternating(a, elapsed)) / c.current
		case "stray_dc":
			error := a.num[0] / c.current
			if !c.bothPoles {
				ohms += error
			} else if math.Abs(error) > c.disagree {
				agree = false
			}
		case "noise":
			ohms += float64(a.num[0] * a.draw.Normal(scan))
		case "fast_bursts":
			if within(elapsed, a.num[1], a.num[2]) && a.draw.Hit(2*scan, a.num[3]) {
				ohms += float64(a.num[0] * (float64(2*a.draw.Uniform(2*scan+1)) - 1))
			}
		case "drift":
			ohms += float64(a.num[0] * ramp(elapsed, a.num[1]))
		}
	}
	return ohms, agree
}

// alternating is an alternating voltage of amplitude 1 as the transmitter sees
// it: at one moment, or the mean over its aperture. The phase is the fault's.
func (c *channel) alternating(a *acting, elapsed float64) float64 {
	end := float64(a.num[1]*elapsed) + a.draw.Uniform(0)
	if c.aperture <= 0 {
		return sine(end)
	}
	span := float64(a.num[1] * c.aperture)
	return (sine(end-span+0.25) - sine(end+0.25)) / float64(span*6.283185307179586)
}

// convert is the transmitter's amplifier, converter and own opinion.
func (c *channel) convert(scan uint64, ohms float64) (value monitor.Microohm, quality monitor.Quality) {
	step := 0.0
	for _, a := range c.acting {
		switch a.fault.Name {
		case "saturation":
			ohms = math.Min(ohms, a.num[0])
		case "coarse_adc":
			step = math.Max(step, a.num[0])
		case "over_range":
			return 0, monitor.OverRange
		case "bad_quality":
			return 0, monitor.Bad
		}
	}
	if step > 0 && !math.IsInf(ohms, 0) {
		ohms = float64(step * math.Floor(ohms/step+0.5))
	}
	return ToReading(ohms, c.fullScale)
}

// ToReading is the edge of the physics: everything that is no number in the
// transmitter's range becomes a quality before any conversion to an integer.
func ToReading(ohms, fullScale float64) (monitor.Microohm, monitor.Quality) {
	switch {
	case math.IsNaN(ohms):
		return 0, monitor.Bad
	case ohms > fullScale || ohms > mostOhms:
		return 0, monitor.OverRange
	case ohms < -mostOhms: // far below any scale: still negative, still invalid
		return -mostOhms * 1e6, monitor.Valid
	}
	return monitor.Microohm(math.Floor(float64(ohms*1e6) + 0.5)), monitor.Valid
}

// mostOhms is the largest resistance that means anything here.
const mostOhms = 1e12

// round is the converter's own resolution, a power of two of micro-ohms.
func (c *channel) round(v monitor.Microohm) monitor.Microohm {
	return (v + c.half) &^ c.mask
}
