package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// observer judges a run of the whole site, scan by scan, by the words of the
// properties of one output. It takes what was fed and what came of it; everything in
// between it works out again: how old an input is, what the permissive says, how long
// a bond has settled, how long flow has ended. A wrong rule in the logic does not hide
// itself.
type observer struct {
	v      *verification
	config *interlock.Config
	output int
	shape  *table.OutputShape
	needed []int // channels in some cut set
	// followed are those, and what shows the bond of a vessel.
	followed []int
	cuts     [][]int
	callers  []int
	vessels  []int
	streams  []int // that charge those
	keep     []interlock.Truth
	start    []interlock.Truth
	truly    []interlock.Truth // keep, without any bypass
	fresh    []bool
	longest  []model.Scans    // by channel: bad scans in a row, saturating above any patience
	prior    *interlock.State // the scan before
	scan     scan             // the present one
	breaches [model.MaxProperties]breach
}

// breach is what breaks a property in a scan: in words, and as the expectation of a
// scenario that the run violates; empty is that the output is not enabled. Exactly
// says that it is to be expected of that very scan and no longer.
type breach struct {
	says, expect string
	exactly      bool
}

func broken(format string, args ...any) breach { return breach{says: fmt.Sprintf(format, args...)} }

// must is what was to be expected of the scan.
func (b breach) must(expect string, args ...any) breach {
	b.expect = fmt.Sprintf(expect, args...)
	return b
}

// expectation is the breach as an expectation of a scenario, of the scan before the
// end of a run.
func (b breach) expectation(output string, scans uint64) string {
	expect := b.expect
	if expect == "" {
		expect = "never: " + output + " is enabled"
	}
	if b.exactly {
		return fmt.Sprintf("{%s, at: %d scans}", expect, scans-1)
	}
	return fmt.Sprintf("{%s, from: %d scans, to: %d scans}", expect, scans-1, scans)
}

// memory is what the properties remember from scan to scan; all zero at power-up.
type memory struct {
	inputs  []interlock.InputState
	watch   table.Watch
	on      model.Scans // start permissive true in a row
	moving  model.Scans // without the report that the command asks for
	bonds   []bondMemory
	stopped []model.Scans // by stream: confirmed, in a row
	vessels []vesselMemory
	bypass  []model.Scans // on, in a row
	keys    []table.KeyMemory
	tripped bool
	named   interlock.CauseSet
	own     uint32 // of a property of the site's own
}

// vesselMemory is what is remembered of a vessel, and of the press that may
// acknowledge its early reconnection.
type vesselMemory struct {
	held, paid, early bool
	still             model.Scans // in a row, and not charged
	rested            model.Scans // since the end of flow
	press             uint8
	pressed           model.Scans
}

// bondMemory is what is remembered of one channel.
type bondMemory struct {
	account
	bad   model.Scans // bad scans in a row
	kind  monitor.Class
	mixed bool // of more than one class
	calm  bool // bonded without doubt before the present bad readings

	// dip is how many bad scans of one class in a row good readings repay, of which
	// the last came so many scans ago; 0 where there is nothing to repay.
	dip, ago model.Scans
	dipOf    monitor.Class
}

func (v *verification) observerOf(output int) *observer {
	c := v.Model.Config
	o := &observer{v: v, config: c, output: output, shape: table.ShapeOf(&c.Outputs[output], false), needed: v.Model.Needed(output), cuts: model.CutSets(c.Outputs[output].Permissive),
		callers: c.CallersOf(output), vessels: c.VesselsOf(output), prior: interlock.NewState(c),
		fresh: make([]bool, len(c.Inputs))}
	for i := range c.Channels {
		most := model.Scans(0)
		for _, class := range table.Bad {
			most = max(most, dipsForgiven(&c.Channels[i].Config, class))
		}
		o.longest = append(o.longest, most+c.Channels[i].StaleAfter+3)
	}
	causes := len(c.Channels) + len(c.Inputs)
	o.keep, o.start, o.truly = make([]interlock.Truth, causes), make([]interlock.Truth, causes), make([]interlock.Truth, causes)
	o.followed = slices.Clone(o.needed)
	for _, vessel := range o.vessels {
		for _, ch := range v.Model.ChannelsOf(output, vessel) {
			o.followed = model.AppendNew(o.followed, ch)
		}
		for _, st := range c.ChargedBy(vessel) {
			if !slices.Contains(o.streams, st) {
				o.streams = append(o.streams, st)
			}
		}
	}
	return o
}

func (o *observer) begin() *memory {
	return &memory{inputs: make([]interlock.InputState, len(o.config.Inputs)), bonds: make([]bondMemory, len(o.config.Channels)),
		stopped: make([]model.Scans, len(o.config.Streams)), vessels: make([]vesselMemory, len(o.vessels)),
		bypass: make([]model.Scans, len(o.config.Bypasses)), keys: make([]table.KeyMemory, len(o.config.Bypasses))}
}

func (m *memory) copyFrom(from *memory) {
	inputs, bonds, stopped, vessels, bypass, keys := m.inputs, m.bonds, m.stopped, m.vessels, m.bypass, m.keys
	*m = *from
	m.inputs, m.bonds, m.stopped, m.vessels, m.bypass, m.keys = inputs, bonds, stopped, vessels, bypass, keys
	copy(m.inputs, from.inputs)
	copy(m.bonds, from.bonds)
	copy(m.stopped, from.stopped)
	copy(m.vessels, from.vessels)
	copy(m.bypass, from.bypass)
	copy(m.keys, from.keys)
}

// same says that two remember the same.
func (m *memory) same(n *memory) bool {
	return m.watch == n.watch && m.on == n.on && m.moving == n.moving && m.tripped == n.tripped && m.named == n.named && m.own == n.own &&
		slices.Equal(m.bonds, n.bonds) && slices.Equal(m.stopped, n.stopped) && slices.Equal(m.vessels, n.vessels) &&
		slices.Equal(m.bypass, n.bypass) && slices.Equal(m.keys, n.keys)
}

// forget is a loss of supply.
func (m *memory) forget() {
	clear(m.inputs)
	clear(m.bonds)
	clear(m.stopped)
	clear(m.vessels)
	clear(m.bypass)
	clear(m.keys)
	m.watch, m.on, m.moving, m.tripped, m.named = table.Watch{}, 0, 0, false, interlock.CauseSet{}
}

// observe follows one scan and lets every property judge it: prior is the state before
// it, d has just turned.
func (o *observer) observe(m *memory, d *runs.Driver) (bad model.PropertySet) {
	o.follow(m, d)
	o.breaches = [model.MaxProperties]breach{}
	for i := range o.v.properties {
		p := &o.v.properties[i]
		if p.observe == nil {
			continue
		}
		if b := p.observe(o, &o.scan); b.says != "" {
			o.breaches[p.Number] = b
			bad |= p.Number.Bit()
		}
	}
	return bad
}
