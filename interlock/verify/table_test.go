package verify

import (
	"testing"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

func demoChannel() monitor.Config {
	return monitor.Config{Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
		StaleAfter: 6, SettleScans: 51, SettleReadings: 5, SettlePause: 5,
		Full: 60, Cost: [monitor.Classes]monitor.Parts{10, 10, 60, 3, 0, 0}, Repay: 60, LongestStay: 500}
}

func demoOutput() interlock.Output {
	return interlock.Output{OnDelay: 20, Reset: 1, Press: interlock.Press{Min: 11, Max: 299}, Closed: 2, Opened: 3, Travel: 600, Start: 4, Stop: 5}
}

func TestSizes(t *testing.T) {
	c := demoChannel()
	begin := time.Now()
	ct, err := tabulate(Real(), &c, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("channel", len(ct.States), ct.Transitions(), time.Since(begin))
	cmp, diff := ct.audit()
	t.Log("audit", cmp, diff, time.Since(begin))
	for _, brief := range []bool{false, true} {
		for _, start := range []bool{false, true} {
			begin = time.Now()
			o := demoOutput()
			if !start {
				o.Start = 0
			}
			ot, err := tabulateOutput(Real(), shapeOf(&o, brief), 1<<30)
			if err != nil {
				t.Fatal(err)
			}
			var bad, hit mask
			for _, e := range ot.edges {
				bad |= e.bad
				hit |= e.hit
			}
			t.Logf("output brief=%v start=%v states %d edges %d calls %d bad %b hit %b %v", brief, start, len(ot.states), len(ot.edges), ot.calls, bad, hit, time.Since(begin))
		}
	}
}

func TestProduct(t *testing.T) {
	c := interlock.Channel{Config: demoChannel()}
	ct, _ := tabulate(Real(), &c.Config, 1<<30)
	o := demoOutput()
	o.Start = 0
	o.Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}}
	ot, err := tabulateOutput(Real(), shapeOf(&o, false), 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	f := &focus{channel: &c, perm: residues(Real(), o.Permissive, 0), cut: true}
	stem := resetStem(Real(), ot, f, ct.letters())
	t.Log("rows", stem.Rows, "edges", len(stem.Edges), "classes", stem.classes)
	p := &Product{Channel: ct, Stem: stem}
	begin := time.Now()
	if err := p.Run(); err != nil {
		t.Fatal(err)
	}
	el := time.Since(begin)
	t.Logf("states %d levels %d transitions %d hit %b bad %b in %v: %.1f M states/s %d bytes", p.States(), p.Levels, p.Transitions, p.Hit, p.Bad, el, float64(p.States())/el.Seconds()/1e6, p.Bytes())
}

func TestWaitProduct(t *testing.T) {
	c := &interlock.Config{}
	c.Channels = []interlock.Channel{{Config: demoChannel()}}
	c.Inputs = make([]interlock.Input, 8)
	o := demoOutput()
	o.Start = 0
	o.Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}}
	c.Outputs = []interlock.Output{o}
	c.Vessels = []interlock.Vessel{{BondedBy: o.Permissive, Wait: 6000, Rest: 3000, Acknowledge: 6, Press: o.Press}}
	c.Streams = []interlock.Stream{{Through: []int{0}, Charges: []int{0}, RunDown: 100}}
	if err := c.Compile(); err != nil {
		t.Fatal(err)
	}
	ct, _ := tabulate(Real(), &c.Channels[0].Config, 1<<30)
	begin := time.Now()
	ot, err := tabulateOutput(Real(), shapeOf(&c.Outputs[0], true), 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	m := newWaitModel(Real(), c, 0, 0, ot)
	res := residues(Real(), o.Permissive, 0)
	f := &focus{channel: &c.Channels[0], perm: res, bond: res, inVessel: true, cut: true}
	stem, err := m.stem(f, ct.letters(), 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("rows", stem.Rows, "edges", len(stem.Edges), "classes", stem.classes, "vessel", len(m.vessel.states), time.Since(begin))
	p := &Product{Channel: ct, Stem: stem}
	begin = time.Now()
	if err := p.Run(); err != nil {
		t.Fatal(err)
	}
	el := time.Since(begin)
	t.Logf("states %d levels %d transitions %d hit %b bad %b in %v: %.1f M states/s %d bytes", p.States(), p.Levels, p.Transitions, p.Hit, p.Bad, el, float64(p.States())/el.Seconds()/1e6, p.Bytes())
}

func TestFacts(t *testing.T) {
	c := demoChannel()
	ct, _ := tabulate(Real(), &c, 1<<30)
	begin := time.Now()
	f := ct.Facts(1 << 30)
	t.Logf("%+v %v", f, time.Since(begin))
	c.Full, c.Repay = 240, 3
	c.Cost = [monitor.Classes]monitor.Parts{40, 40, 240, 12, 0, 0}
	ct, _ = tabulate(Real(), &c, 1<<30)
	begin = time.Now()
	f = ct.Facts(1 << 30)
	f.Run = nil
	t.Logf("%+v %v", f, time.Since(begin))
}
