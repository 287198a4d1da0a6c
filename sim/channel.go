package sim

import (
	"math"

	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// channel is one monitored connection of the plant, from the jaws of the clamp
// to the bus.
type channel struct {
	name  string
	logic *monitor.Config

	// Facts of the site.
	seconds    float64 // one scan
	metal      bool
	earthPath  bool
	lead       float64 // Ω at 20 °C, both conductors
	current    float64 // A, test current
	bothPoles  bool
	disagree   float64 // Ω between the polarities that a transmitter accepts
	aperture   float64 // s
	fullScale  float64 // Ω
	top        monitor.Microohm
	hanging    float64 // Ω with nothing connected
	secondPath float64 // Ω of another way to earth
	slowness   float64 // share of a step that the reading takes in one scan; 1: all
	half, mask monitor.Microohm

	// What people did.
	attached attachment
	touch    float64 // Ω between jaws and part
	object   float64 // Ω of the wrong object
	celsius  float64

	// What goes wrong now.
	acting []*acting
	cut    int // bus cuts that cover this channel
	forced force

	// What comes of it.
	steady    bool // nothing moves but the noise
	base      monitor.Microohm
	quality   monitor.Quality
	spread    float64 // µΩ of the instrument's own noise at the reject limit
	deviation float64 // …at the resting value
	normal    *quantiles
	noise     Stream
	stamp     uint16
	cycle     int     // scans from one fetch to the next
	turn      int     // scans until the next fetch
	slow      float64 // 1/Ω, where the reading follows slowly
	settled   bool    // the slow reading has arrived
	last      monitor.Reading
	real      float64 // Ω between part and earth
}

// force is what a scenario's read: step makes of the readings.
type force struct {
	on      bool
	repeat  bool // the last one again, with its old stamp
	reading monitor.Reading
}

// newChannel takes the facts of a channel from the site, with plausible ones
// where the site is silent.
func newChannel(s *site.Site, i int, logic *monitor.Config, seconds float64, seed uint64) channel {
	f := &s.Channels[i]
	c := channel{
		name: f.Name, logic: logic, seconds: seconds,
		metal: f.Kind != "dissipative", earthPath: f.Measures == "earth-path",
		lead: leadAt20(&f.Leads), current: middle(f.Transmitter.TestCurrent), bothPoles: f.Transmitter.BothPoles,
		aperture: f.Aperture.Seconds(), hanging: isolated, secondPath: secondPath(s, f.Part), slowness: 1,
		celsius: 20, normal: normals(), noise: NewStream(seed, f.Name, "instrument"), slow: -1,
	}
	reject := ohmsOf(f.Reject)
	c.fullScale = 2 * ohmsOf(f.OpenAbove)
	if f.ValidMax > 0 {
		c.fullScale = ohmsOf(f.ValidMax)
	}
	c.fullScale = math.Min(c.fullScale, mostOhms)
	c.top = monitor.Microohm(c.fullScale * 1e6)
	c.disagree = reject / 20
	if f.HangingFree > 0 {
		c.hanging = ohmsOf(f.HangingFree)
	}
	if c.current <= 0 {
		c.current = 0.001
	}
	if tau := f.ResponseTime.Seconds(); tau > 0 { // the declared time is to 95 %: three time constants
		tau /= 3
		c.slowness = seconds / (tau + seconds)
	}
	c.touch = defaultTouch(f, c.lead)
	c.spread = reject * 1e6 * 0.0005
	if f.Uncertainty > 0 {
		c.spread = float64(f.Uncertainty) / 4
	}
	c.mask = powerBelow(f.Reject/8192) - 1
	c.half = (c.mask + 1) / 2
	return c
}

func ohmsOf(v monitor.Microohm) float64 { return float64(v) / 1e6 }

// defaultTouch is a good contact: clean metal, or a bag in the middle of what
// its fabric usually reads. Where that would read about the floor, which no real
// connection does, it lies midway between floor and accept.
func defaultTouch(f *site.Channel, lead float64) float64 {
	touch := ohmsOf(f.Accept) / 50
	if f.Kind == "dissipative" {
		touch = ohmsOf(f.Accept) / 10
	}
	if floor := ohmsOf(f.Floor); lead+touch < 1.2*floor {
		touch = math.Max(touch, (floor+ohmsOf(f.Accept))/2-lead)
	}
	return touch
}

// powerBelow is the largest power of two not above v, at least 1.
func powerBelow(v monitor.Microohm) monitor.Microohm {
	power := monitor.Microohm(1)
	for power <= v/2 {
		power *= 2
	}
	return power
}

// secondPath is another way to earth of the vessel with this name.
func secondPath(s *site.Site, part string) float64 {
	for i := range s.Vessels {
		if v := &s.Vessels[i]; v.Name == part && v.SecondPath.Set {
			return v.SecondPath.Hi
		}
	}
	return isolated
}

// earthLimit is the resistance up to which a part counts as earthed in truth:
// 1 MΩ for conductors (TRGS 727 8.3, as BG RCI cites it), 100 MΩ for
// dissipative bags (IEC 61340-4-4:2018).
func (c *channel) earthLimit() float64 {
	if c.metal {
		return 1e6
	}
	return 1e8
}

// moving reports whether a fault acts that changes from scan to scan, or works
// behind the instrument: the channel must then be computed scan by scan.
func (c *channel) moving() bool {
	return len(c.acting) > 0 || c.cut > 0 || c.forced.on || c.slowness < 1 && !c.settled
}

// settle computes what stays until something happens.
func (c *channel) settle(scan uint64) {
	c.settled = false
	c.steady = !c.moving()
	if c.steady {
		loop, real := c.connection(scan)
		c.real = real
		c.rest(c.wire(scan, loop))
	}
}

// rest takes a value that stays until something happens.
func (c *channel) rest(ohms float64) {
	c.base, c.quality = ToReading(ohms, c.fullScale)
	c.deviation = c.deviationAt(c.base)
}

// read is the channel's reading in one scan; nothing arrives while it is not
// this channel's turn on the bus.
func (c *channel) read(scan uint64) monitor.Reading {
	c.stamp++
	fetched := c.turn == 0
	if fetched {
		c.turn = c.cycle
	}
	c.turn--
	switch {
	case !c.steady:
		return c.readMoving(scan, fetched)
	case !fetched:
		return monitor.Reading{}
	case c.quality != monitor.Valid:
		c.last = monitor.Reading{Quality: c.quality, Stamp: c.stamp}
	default:
		c.last = c.measured(scan, c.base, c.deviation)
	}
	return c.last
}

// measured adds the instrument's own noise and resolution.
func (c *channel) measured(scan uint64, v monitor.Microohm, deviation float64) monitor.Reading {
	if deviation != 0 {
		v += monitor.Microohm(float64(deviation * c.normal.at(c.noise.Bits(scan))))
	}
	v = c.round(v)
	if v > c.top {
		return monitor.Reading{Quality: monitor.OverRange, Stamp: c.stamp}
	}
	return monitor.Reading{Value: v, Quality: monitor.Valid, Stamp: c.stamp}
}

// readMoving is read with faults at work.
func (c *channel) readMoving(scan uint64, fetched bool) monitor.Reading {
	c.stir(scan)
	loop, real := c.connection(scan)
	c.real = real
	if c.forced.on {
		return c.readForced()
	}
	if !fetched && c.slowness >= 1 {
		return monitor.Reading{}
	}
	ohms := c.follow(c.wire(scan, loop))
	if !fetched {
		return monitor.Reading{}
	}
	error, agree := c.disturbance(scan)
	value, quality := c.convert(scan, ohms+error)
	reading := monitor.Reading{Quality: quality, Stamp: c.stamp}
	switch {
	case !agree:
		reading.Quality = monitor.Bad
	case quality == monitor.Valid:
		reading = c.measured(scan, value, c.deviationAt(value))
	}
	reading = c.handOver(scan, reading)
	if c.cut > 0 {
		reading = monitor.Reading{}
	}
	c.last = reading
	return reading
}

// deviationAt is the instrument's own noise at a value, in µΩ: fixed for metal,
// in proportion for megohms.
func (c *channel) deviationAt(v monitor.Microohm) float64 {
	if c.metal {
		return c.spread
	}
	return float64(c.spread*math.Abs(float64(v))) / float64(c.logic.Reject)
}

// follow lets a slow instrument take only a part of every step, in conductance:
// an open end is a number there too.
func (c *channel) follow(ohms float64) float64 {
	if c.slowness >= 1 {
		return ohms
	}
	target := 0.0
	if ohms > 0 {
		target = 1 / ohms
	}
	if c.slow < 0 {
		c.slow = target
	}
	step := target - c.slow
	if math.Abs(step) <= float64(1e-4*(math.Abs(target)+1e-15)) {
		c.slow = target
		if len(c.acting) == 0 && c.cut == 0 && !c.forced.on {
			c.settled, c.steady = true, true
			c.rest(ohms)
		}
		return ohms
	}
	c.slow += float64(step * c.slowness)
	if c.slow <= 0 {
		return isolated
	}
	return 1 / c.slow
}

// readForced is what a read: step asked for.
func (c *channel) readForced() monitor.Reading {
	if c.forced.repeat {
		c.stamp-- // the device did not measure again
		return c.last
	}
	c.last = c.forced.reading
	c.last.Stamp = c.stamp
	return c.last
}

// handOver is everything between the converter and the bus.
func (c *channel) handOver(scan uint64, r monitor.Reading) monitor.Reading {
	for _, a := range c.acting {
		switch a.fault.Name {
		case "frozen_reading":
			r = a.freeze(r, a.word == "runs")
		case "report_on_change":
			r = a.onChange(r)
		case "late_samples":
			r = a.delay(r, c.seconds*float64(c.cycle))
		case "repeated_samples":
			r = a.repeat(scan, r)
		case "lost_samples":
			if a.draw.Hit(scan, a.num[0]) {
				r = monitor.Reading{}
			}
		}
	}
	return r
}

func (a *acting) freeze(r monitor.Reading, stampRuns bool) monitor.Reading {
	if !a.seen {
		a.kept, a.seen = r, true
	}
	if stampRuns {
		a.kept.Stamp = r.Stamp
	}
	return a.kept
}

func (a *acting) onChange(r monitor.Reading) monitor.Reading {
	moved := math.Abs(float64(r.Value-a.kept.Value)) > a.num[0]*1e6
	if a.seen && r.Quality == a.kept.Quality && !moved {
		return monitor.Reading{}
	}
	a.kept, a.seen = r, true
	return r
}

// delay lets a reading out so many scans later; until the first one is due,
// nothing arrives.
func (a *acting) delay(r monitor.Reading, seconds float64) monitor.Reading {
	if a.queue == nil {
		a.queue = make([]monitor.Reading, max(1, int(math.Ceil(a.num[0]/seconds-1e-9))))
	}
	out := a.queue[a.ring]
	a.queue[a.ring] = r
	a.ring = (a.ring + 1) % len(a.queue)
	return out
}

func (a *acting) repeat(scan uint64, r monitor.Reading) monitor.Reading {
	if a.seen && a.draw.Hit(scan, a.num[0]) {
		return a.kept
	}
	a.kept, a.seen = r, true
	return r
}
