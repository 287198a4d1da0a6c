// Package livetest is a small plant for the tests of everything live: any
// number of clamps, one pump, and hands that move at once.
package livetest

import (
	"fmt"
	"time"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// Period is one scan of the small plant.
const Period = 10 * time.Millisecond

const ohm = monitor.Microohm(1_000_000)

// Site is a site with so many channels that all guard one pump.
func Site(channels int) (*site.Site, *interlock.Config) {
	s := &site.Site{File: "small.yaml", Name: "quarry_road", Title: "Quarry Road works, test bay", Period: site.Times{Min: Period, Max: Period}}
	c := &interlock.Config{PollScans: 2}
	permissive := ""
	for i := range channels {
		name := fmt.Sprintf("bond_%d", i+1)
		s.Channels = append(s.Channels, site.Channel{Name: name, Title: fmt.Sprintf("clamp of drum %d", i+1), Accept: 9 * ohm, Reject: 10 * ohm, OpenAbove: 1000 * ohm})
		c.Channels = append(c.Channels, interlock.Channel{Config: monitor.Config{
			Accept: 9 * ohm, Reject: 10 * ohm, OpenAbove: 1000 * ohm, OverRangeIsOpen: true,
			StaleAfter: 6, SettleScans: 50, SettleReadings: 5, SettlePause: 5,
			Full: 60, Cost: [monitor.Classes]monitor.Parts{monitor.Missing: 10, monitor.Invalid: 10, monitor.Open: 60, monitor.High: 3},
			Repay: 60, LongestStay: 500,
		}})
		if i > 0 {
			permissive += " AND "
		}
		permissive += name
	}
	for _, in := range []string{"reset_1", "ack_1", "pump_off"} {
		s.Inputs = append(s.Inputs, site.Input{Name: in, Title: in, Use: "button"})
		c.Inputs = append(c.Inputs, interlock.Input{StaleAfter: 6})
	}
	s.Outputs = []site.Output{{Name: "pump", Title: "transfer pump", Permissive: permissive, Restart: "on-reset", Reset: "reset_1", Closed: "pump_off", Travel: time.Second}}
	s.Vessels = []site.Vessel{{Name: "drum", Title: "drum on the scale", Wait: 5 * time.Second}}
	s.Streams = []site.Stream{{Name: "toluene", Title: "toluene to the drum", Through: []string{"pump"}, Charges: []string{"drum"}}}
	press := interlock.Press{Min: 11, Max: 299}
	c.Outputs = []interlock.Output{{Permissive: expression(s, permissive), OnDelay: 10, Reset: 1, Press: press, Closed: 3, Travel: 100}}
	c.Vessels = []interlock.Vessel{{BondedBy: expression(s, permissive), Wait: 500, Rest: 100, Acknowledge: 2, Press: press}}
	c.Streams = []interlock.Stream{{Through: []int{0}, Charges: []int{0}, RunDown: 100}}
	if err := c.Compile(); err != nil {
		panic(err)
	}
	return s, c
}

func expression(s *site.Site, text string) interlock.Permissive {
	p, err := interlock.ParsePermissive(text, func(name string) (int, bool) {
		for i := range s.Channels {
			if s.Channels[i].Name == name {
				return i, true
			}
		}
		return 0, false
	})
	if err != nil {
		panic(err)
	}
	return p
}

// Plant is the small plant: clamps are on from the start and read near 2 Ω.
type Plant struct {
	End     uint64 // scans; 0 lasts for ever
	Fail    uint64 // scan at which the line is lost; 0 never
	Clamped []bool
	press   []uint64 // input is 1 until this scan
	running uint64   // scans since the pump last ran
}

// New is a plant of a site, at rest.
func New(s *site.Site) *Plant {
	p := &Plant{Clamped: make([]bool, len(s.Channels)), press: make([]uint64, len(s.Inputs)), running: 100}
	for i := range p.Clamped {
		p.Clamped[i] = true
	}
	return p
}

// Next brings one scan.
func (p *Plant) Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if p.Fail > 0 && scan >= p.Fail {
		return false, fmt.Errorf("the line is silent")
	}
	if p.End > 0 && scan >= p.End {
		return false, nil
	}
	in.Overrun = false
	for i := range in.Readings {
		in.Readings[i] = monitor.Reading{Quality: monitor.OverRange}
		if p.Clamped[i] {
			wobble := (scan*2654435761 + uint64(i)*40503) % 997
			in.Readings[i] = monitor.Reading{Quality: monitor.Valid, Value: 2*ohm + monitor.Microohm(wobble)*100}
		}
	}
	for i := range in.Signals {
		in.Signals[i] = interlock.Low
		if scan < p.press[i] {
			in.Signals[i] = interlock.High
		}
	}
	p.running++
	if coils.Energised(0) {
		p.running = 0
	}
	in.Signals[2] = interlock.Low
	if p.running > 20 {
		in.Signals[2] = interlock.High
	}
	return true, nil
}

// Apply knows: inject and clear clamp_removed, and press.
func (p *Plant) Apply(scan uint64, a live.Action) error {
	var n int
	switch a.Do {
	case "inject", "clear":
		if _, err := fmt.Sscanf(a.On, "bond_%d", &n); err != nil || n < 1 || n > len(p.Clamped) || a.Fault != "clamp_removed" {
			return fmt.Errorf("%s on %q: write clamp_removed on bond_1 to bond_%d", a.Fault, a.On, len(p.Clamped))
		}
		p.Clamped[n-1] = a.Do == "clear"
	case "press":
		n = map[string]int{"reset_1": 1, "ack_1": 2}[a.On]
		if n == 0 {
			return fmt.Errorf("press on %q: write reset_1 or ack_1", a.On)
		}
		p.press[n-1] = scan + 50
	default:
		return fmt.Errorf("%q: write inject, clear or press", a.Do)
	}
	return nil
}

// Options is a session over the small plant, as fast as it goes.
func Options(channels int) live.Options {
	s, c := Site(channels)
	faults := live.FaultKind{Name: "clamp_removed", Title: "clamp taken off"}
	for i := range s.Channels {
		faults.On = append(faults.On, s.Channels[i].Name)
	}
	return live.Options{
		Site: s, Config: c, Period: Period, Kind: "simulator", Control: true, Deadline: 100 * time.Millisecond,
		Open:   func(live.Request) (live.Plant, error) { return New(s), nil },
		Faults: []live.FaultKind{faults},
	}
}
