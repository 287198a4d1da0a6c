package sim

import "math"

// attachment is what the jaws of a clamp bite.
type attachment uint8

const (
	hangingFree attachment = iota
	onPart
	onWrongObject
)

// isolated is the resistance of what is not connected at all.
var isolated = math.Inf(1)

// parallel is the resistance of two paths side by side.
func parallel(a, b float64) float64 {
	switch {
	case math.IsInf(a, 1):
		return b
	case math.IsInf(b, 1):
		return a
	case a+b == 0:
		return 0
	}
	return float64(a*b) / (a + b)
}

// contact is what all faults together add between jaws and part, in Ω.
func (c *channel) contact(scan uint64) float64 {
	sum := c.touch
	for _, a := range c.acting {
		sum += c.contactFault(a, scan)
	}
	return sum
}

// contactFault is what one fault adds.
func (c *channel) contactFault(a *acting, scan uint64) float64 {
	elapsed := float64(scan-a.begun) * c.seconds
	switch a.fault.Name {
	case "clamp_on_paint":
		return a.num[0]
	case "corrosion":
		return a.num[0] + float64((a.num[1]-a.num[0])*ramp(elapsed, a.num[2]))
	case "film":
		if a.broken {
			return a.num[1]
		}
		return a.num[0]
	case "chatter":
		if a.broken {
			return a.num[0]
		}
	case "vibration":
		if within(elapsed, a.num[1], a.num[2]) {
			return float64(a.num[0] * a.draw.Uniform(scan))
		}
	case "rotation":
		return c.rotating(a, elapsed)
	}
	return 0
}

// stir moves the two-state faults by one scan.
func (c *channel) stir(scan uint64) {
	for _, a := range c.acting {
		switch {
		case a.begun == scan:
		case a.is("chatter"):
			a.flip(scan, c.seconds, a.num[1], a.num[2])
		case a.is("film"):
			a.flip(scan, c.seconds, a.num[2], a.num[3])
		}
	}
}

// rotating is what a contact adds that opens for a share of every turn. A
// transmitter without an aperture looks at one moment; one with an aperture
// takes the mean over it, and the open part counts as its full scale.
func (c *channel) rotating(a *acting, elapsed float64) float64 {
	perSecond := a.num[0] / 60
	end := float64(perSecond*elapsed) + 1000 // turns; the offset keeps the aperture's start positive
	open := 0.0
	if c.aperture > 0 {
		start := end - float64(perSecond*c.aperture)
		open = (openTurns(end, a.num[1]) - openTurns(start, a.num[1])) / (end - start)
	} else if end-float64(int64(end)) < a.num[1] {
		open = 1
	}
	switch {
	case open <= 0:
		return 0
	case open >= 1:
		return a.num[2]
	}
	return float64(open * math.Min(a.num[2], c.fullScale))
}

// openTurns is how much of all turns so far the contact was open.
func openTurns(turns, share float64) float64 {
	whole := float64(int64(turns))
	return float64(whole*share) + math.Min(turns-whole, share)
}

// connection is the loop as the lead sees it at the clamp, and the resistance
// that the part really has to earth.
func (c *channel) connection(scan uint64) (loop, real float64) {
	strap := 0.0 // between the part and what the clamp bites
	for _, a := range c.acting {
		if a.is("strap_left_out") {
			strap = a.num[0]
		}
	}
	switch c.attached {
	case hangingFree:
		return c.hanging, c.secondPath
	case onWrongObject:
		return c.object, c.secondPath
	}
	contact := c.contact(scan)
	real = parallel(contact+strap, c.secondPath)
	if c.earthPath { // the loop closes through the part's own way to earth
		return contact + parallel(strap, c.secondPath), real
	}
	return contact, real
}
