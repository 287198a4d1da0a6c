package sim

import (
	"sort"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Plant is the model of one site. It is a loop.Source: the logic turns it scan
// by scan and sees nothing of it but readings and signals.
type Plant struct {
	Site   *site.Site
	Logic  *interlock.Config
	Period time.Duration
	Seed   uint64

	called    tell.Names
	seconds   float64
	channels  []channel
	inputs    []input
	actuators []actuator
	streams   []stream
	signals   []interlock.Signal

	agenda []deed
	next   int

	forces    map[string]map[uint64]bool // scans in which a read: step begins, by name
	machine   []*acting                  // overruns and dips that act now
	off       int                        // supply failures acting
	restart   bool                       // the logic starts from power-up in this scan
	overrun   bool                       // a step asked for it
	coils     interlock.CoilSet
	busy      bool // actuators, streams or bouncing inputs move by themselves
	inputsDue bool
	end       uint64
	truth     trace.Truth
	told      func(scan uint64, what Deed)
	active    []*acting // all faults that act now, in order of their beginning
}

// deed is something that happens to the plant at the start of a scan.
type deed struct {
	scan uint64
	told Deed // without a text it is not told
	do   func(p *Plant, scan uint64)
}

// Deed is what people are told of it, and the part of the site to which it
// happens; empty: the whole.
type Deed struct{ Text, On string }

// NewPlant is a site at rest: clamps hanging free, nothing pressed, all
// actuators stopped. It lasts for so many scans.
func NewPlant(s *site.Site, logic *interlock.Config, seed, scans uint64) *Plant {
	p := &Plant{Site: s, Logic: logic, Period: s.Period.Max, Seed: seed, called: tell.Names(s.Names()), end: scans}
	p.seconds = p.Period.Seconds()
	outputs, streams := map[string]int{}, map[string]int{}
	for i := range s.Outputs {
		outputs[s.Outputs[i].Name] = i
		p.actuators = append(p.actuators, newActuator(s, i, p.seconds))
	}
	for i := range s.Streams {
		streams[s.Streams[i].Name] = i
	}
	for i := range s.Streams {
		p.streams = append(p.streams, newStream(s, i, outputs, p.seconds))
	}
	for i := range s.Channels {
		p.channels = append(p.channels, newChannel(s, i, &logic.Channels[i].Config, p.seconds, seed))
		p.channels[i].settle(0)
	}
	p.takeTurns()
	p.inputs = newInputs(s, outputs, streams, seed)
	p.signals = make([]interlock.Signal, len(p.inputs))
	p.inputsDue, p.busy = true, true
	p.truth = trace.Truth{Ohms: make([]float64, len(p.channels)), Bonded: make([]bool, len(p.channels)), Flowing: make([]bool, len(p.streams))}
	return p
}

// takeTurns spreads the channels over one cycle of the bus: each is fetched once
// in a cycle, and in the scans between nothing of it arrives.
func (p *Plant) takeTurns() {
	cycle := max(1, int((p.Site.Poll+p.Period/2)/p.Period))
	for i := range p.channels {
		p.channels[i].cycle = cycle
		p.channels[i].turn = i * cycle / len(p.channels)
	}
}

// plan adds a deed; start puts them in order. Deeds of one scan happen in the
// order in which they were planned.
func (p *Plant) plan(scan uint64, told Deed, do func(p *Plant, scan uint64)) {
	p.agenda = append(p.agenda, deed{scan, told, do})
}

func (p *Plant) start() {
	sort.SliceStable(p.agenda, func(i, j int) bool { return p.agenda[i].scan < p.agenda[j].scan })
}

// Scans turns a time into the scan that begins at or after it.
func (p *Plant) Scans(t time.Duration) uint64 {
	if t <= 0 {
		return 0
	}
	return uint64((t + p.Period - 1) / p.Period)
}

// Next brings what one scan reads.
func (p *Plant) Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if scan >= p.end {
		return false, nil
	}
	p.restart, p.overrun = false, false
	if p.next < len(p.agenda) && p.agenda[p.next].scan <= scan {
		p.happen(scan)
	}
	if p.off > 0 {
		coils = 0
	}
	if p.busy || coils != p.coils {
		p.move(scan, coils)
	}
	if p.inputsDue {
		p.listen(scan)
	}
	copy(in.Signals, p.signals)
	for i := range p.channels {
		in.Readings[i] = p.channels[i].read(scan)
	}
	in.Overrun = p.overruns(scan)
	if p.off > 0 {
		clear(in.Readings)
		clear(in.Signals)
		in.Overrun = false
	}
	return true, nil
}

// PowerUp reports that the logic lost its memory before this scan: in every
// scan without supply, in the first with it again, and when a step asks for it.
func (p *Plant) PowerUp(uint64) bool { return p.off > 0 || p.restart }

// happen does what is due.
func (p *Plant) happen(scan uint64) {
	for p.next < len(p.agenda) && p.agenda[p.next].scan <= scan {
		d := &p.agenda[p.next]
		p.next++
		d.do(p, scan)
		if d.told.Text != "" && p.told != nil {
			p.told(scan, d.told)
		}
	}
	for i := range p.channels {
		p.channels[i].settle(scan)
	}
	p.inputsDue, p.busy = true, true
}

// move lets actuators and product follow their commands.
func (p *Plant) move(scan uint64, coils interlock.CoilSet) {
	p.coils, p.busy = coils, false
	for i := range p.actuators {
		before := p.actuators[i].place
		p.busy = p.actuators[i].step(scan, coils.Energised(i)) || p.busy
		p.inputsDue = p.inputsDue || p.actuators[i].place != before
	}
	for i := range p.streams {
		p.inputsDue = p.streams[i].step(p.actuators) || p.inputsDue
		p.busy = p.busy || p.streams[i].flowing && p.streams[i].left < p.streams[i].tail
	}
}

// listen reads all inputs again.
func (p *Plant) listen(scan uint64) {
	p.inputsDue = false
	for i := range p.inputs {
		signal, restless := p.inputs[i].signal(p, scan)
		p.signals[i] = signal
		p.inputsDue = p.inputsDue || restless
	}
}

func (p *Plant) overruns(scan uint64) bool {
	overrun := p.overrun
	for _, a := range p.machine {
		overrun = overrun || a.is("scan_overrun") && a.draw.Hit(scan, a.num[0])
	}
	return overrun
}

// Truth is what is true in the plant now; valid until the next scan.
func (p *Plant) Truth() *trace.Truth {
	for i := range p.channels {
		c := &p.channels[i]
		p.truth.Ohms[i] = c.real
		p.truth.Bonded[i] = c.real <= c.earthLimit()
	}
	for i := range p.streams {
		p.truth.Flowing[i] = p.streams[i].flowing
	}
	p.truth.Faults = p.truth.Faults[:0]
	for _, a := range p.active {
		p.truth.Faults = append(p.truth.Faults, a.label)
	}
	return &p.truth
}

// forcedReading is the plainest reading of a class: the edge value of it where
// it has one. ok is false where the channel has no such class.
func forcedReading(c *monitor.Config, class monitor.Class) (r monitor.Reading, ok bool) {
	valid := func(v monitor.Microohm) monitor.Reading { return monitor.Reading{Value: v, Quality: monitor.Valid} }
	switch class {
	case monitor.Missing:
		return monitor.Reading{}, true
	case monitor.Invalid:
		return monitor.Reading{Quality: monitor.Bad}, true
	case monitor.Open:
		if c.OverRangeIsOpen {
			return monitor.Reading{Quality: monitor.OverRange}, true
		}
		return valid(c.OpenAbove), c.ValidMax == 0 || c.OpenAbove <= c.ValidMax
	case monitor.High:
		return valid(c.Reject + 1), c.Reject+1 < c.OpenAbove
	case monitor.Between:
		return valid(c.Reject), c.Accept < c.Reject
	}
	return valid(c.Accept), true
}
