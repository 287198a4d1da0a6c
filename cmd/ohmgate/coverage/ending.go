package coverage

import (
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify/graph"
)

// ending is how a story that has passed through its gap goes on.
type ending uint8

const (
	asItIs    ending = iota
	putRight         // everything is put right, and the outputs are reset
	restarted        // the same, after the unit was switched off and on
)

// end takes all clamps off, waits until no vessel can hold a charge, clamps again and presses what there is to press.
func (b *Bench) end(d *draft, path *graph.Path, how ending) {
	period := b.Site.Period.Max
	pass := func(t time.Duration) { d.lasts += (t + period - 1) / period * period }
	for _, name := range b.held(path) {
		d.step(d.lasts, "do: release, on: %s", name)
	}
	for i := range b.Site.Channels {
		d.step(d.lasts, "read: plant, on: %s", b.Site.Channels[i].Name)
		d.step(d.lasts, "do: disconnect, on: %s", b.Site.Channels[i].Name)
	}
	if pass(5 * period); how == restarted {
		d.step(d.lasts, "do: restart")
		pass(b.Site.Rig.Supply.Boot)
	}
	empty, settled := b.waits()
	pass(empty)
	d.evidence(b.Site, d.lasts)
	d.connect(b.Site, d.lasts)
	pass(settled)
	for _, one := range b.buttons() {
		d.step(d.lasts, "do: press, on: %s, for: %s", one.name, quantity.Duration(one.press))
		pass(one.press + 10*period)
	}
	d.lasts += afterwards * period
}

// held are the buttons that a path leaves pressed.
func (b *Bench) held(path *graph.Path) (names []string) {
	for i := range b.Site.Inputs {
		down := false
		for _, action := range path.Actions {
			if action.Act == graph.Set && action.On == i {
				down = action.High
			}
		}
		if down && b.Site.Inputs[i].Use != "evidence" {
			names = append(names, b.Site.Inputs[i].Name)
		}
	}
	return names
}

// waits are how long clamps stay off until every vessel may be run again, and on until every channel is bonded.
func (b *Bench) waits() (empty, settled time.Duration) {
	const reserve = 500 * time.Millisecond
	for i := range b.Site.Vessels {
		empty = max(empty, b.Site.Vessels[i].Wait+b.Site.Vessels[i].Rest)
	}
	runDown := time.Duration(0)
	for i := range b.Site.Streams {
		runDown = max(runDown, b.Site.Streams[i].RunDown)
	}
	for i := range b.Site.Channels {
		c := &b.Site.Channels[i]
		settled = max(settled, c.SettleTime+time.Duration(c.SettleReadings)*c.SettlePause)
	}
	return empty + runDown + reserve, settled + reserve
}

// button is one to press for a time that surely counts.
type button struct {
	name  string
	press time.Duration
}

// buttons are those that acknowledge, reset and start, in this order, each once.
func (b *Bench) buttons() (list []button) {
	done := map[string]bool{"": true}
	add := func(name string, least, most time.Duration) {
		if !done[name] {
			period := b.Site.Period.Max
			done[name] = true
			list = append(list, button{name, min(least+10*period, (least+most)/2) / period * period})
		}
	}
	for i := range b.Site.Vessels {
		v := &b.Site.Vessels[i]
		add(v.Acknowledge, v.PressMin, v.PressMax)
	}
	for _, which := range []func(o *site.Output) string{func(o *site.Output) string { return o.Reset }, func(o *site.Output) string { return o.Start }} {
		for i := range b.Site.Outputs {
			o := &b.Site.Outputs[i]
			add(which(o), o.PressMin, o.PressMax)
		}
	}
	return list
}
