package verify

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// What follows judges one scan by the words of one property each. Where a scan breaks
// a property in several ways, the last is told.

// observeBoot: every needed channel came to be bonded by settling.
func (o *observer) observeBoot(x *scan) breach { return o.ofAccount(x, model.PropertyBoot) }

// ofAccount is what the accounts of the followed channels say of a property.
func (o *observer) ofAccount(x *scan, property model.Property) (b breach) {
	for _, ch := range o.followed {
		if found := &x.channels[ch]; found.property == property {
			name := o.v.Model.Names.Channels[ch]
			b = broken("%s %s", name, found.says).must(found.expect, name)
		}
	}
	return b
}

// observeWithhold: an output does not run on where its permissive is not true.
func (o *observer) observeWithhold(x *scan) (b breach) {
	if x.judged.Bad.Has(model.PropertyWithhold) {
		b = broken("%s runs on although its permissive is %s, or something withholds it", o.name(), x.letter.Perm)
	}
	return b
}

// observeStart: it is enabled only where its permissive was true for its delay.
func (o *observer) observeStart(x *scan) (b breach) {
	if x.judged.Bad.Has(model.PropertyStart) || x.judged.Enables && x.on <= o.shape.Config.OnDelay {
		b = broken("%s is enabled with its permissive %s for %d of %d scans", o.name(), x.letter.Perm, x.on, o.shape.Config.OnDelay.Next())
	}
	return b
}

// observeResponse: it does not run while what stops it has been bad for longer than
// any patience.
func (o *observer) observeResponse(x *scan) breach {
	b := o.ofAccount(x, model.PropertyResponse)
	for _, set := range o.cuts {
		late := x.after.Mode == interlock.Enabled && len(set) > 0
		for _, cause := range set {
			late = late && cause < len(o.config.Channels) && o.late(x, cause) && o.keep[cause] == o.truly[cause] // no bypass stands in
		}
		if late {
			ch := &x.bonds[set[0]]
			b = broken("%s runs in scan %d of bad readings (last %s) on %s", o.name(), ch.bad, ch.class, o.v.Model.Cause(set[0]))
		}
	}
	return b
}

// late says that a channel has read bad for longer than any patience: one class
// alone for its own, a mixture for the longest of them and one gap.
func (o *observer) late(x *scan, ch int) bool {
	c, b := &o.config.Channels[ch].Config, &x.bonds[ch]
	if !b.mixed {
		return b.bad > dipsForgiven(c, b.kind)+1
	}
	most := model.Scans(0)
	for _, class := range table.Bad {
		most = max(most, dipsForgiven(c, class))
	}
	return b.bad > most+c.StaleAfter+1
}

// observePatience: it is not tripped by a single dip that must be forgiven.
func (o *observer) observePatience(x *scan) breach {
	b := o.ofAccount(x, model.PropertyPatience)
	if x.before.Mode != interlock.Enabled || x.after.Mode != interlock.Tripped {
		return b
	}
	for _, ch := range o.needed {
		bond := &x.bonds[ch]
		dip, class := bond.dip, bond.dipOf
		if bond.calm && !bond.mixed {
			dip, class = bond.bad, bond.kind
		}
		if model.IsCut(o.config.Outputs[o.output].Permissive, ch) && dip > 0 && o.truly[ch] != interlock.True && dip <= dipsForgiven(&o.config.Channels[ch].Config, class) && o.alone(ch) {
			b = broken("%s is tripped by %d scans of %s on %s, that many must be forgiven", o.name(), dip, class, o.v.Model.Cause(ch)).must("never: %s is tripped", o.name())
		}
	}
	return b
}

// alone says that every other cause is as it must be, evidence included.
func (o *observer) alone(ch int) bool {
	if ref := o.config.Channels[ch].Evidence; ref != 0 && o.keep[len(o.config.Channels)+int(ref)-1] != interlock.True {
		return false
	}
	return model.Evaluate(o.config.Outputs[o.output].Permissive, func(c int) interlock.Truth {
		if c == ch {
			return interlock.True
		}
		return o.keep[c]
	}) == interlock.True
}

// observeReset: it is enabled only after one whole press.
func (o *observer) observeReset(x *scan) (b breach) {
	if x.judged.Bad.Has(model.PropertyReset) {
		b = broken("%s is enabled without one whole deliberate press of its reset", o.name())
	}
	return b
}

// observeUnknown: it does not run on what is unknown.
func (o *observer) observeUnknown(x *scan) (b breach) {
	if x.after.Mode == interlock.Enabled && x.letter.Perm == interlock.Unknown {
		b = broken("%s runs although its permissive is unknown", o.name())
	}
	return b
}

// observeUnconfirmed: what the actuator failed to report is latched, in its time,
// and stops the backup; the output is itself stopped as one.
func (o *observer) observeUnconfirmed(x *scan) (b breach) {
	runs := x.after.Mode == interlock.Enabled
	if x.judged.Bad.Has(model.PropertyUnconfirmed) {
		b = broken("%s: what its actuator failed to report is forgotten, or not asked for", o.name())
		switch {
		case !runs:
			b = b.must("always: %s is unconfirmed", o.name())
		case x.after.Unconfirmed != 0:
			b = b.must("never: [%s is enabled, %s is unconfirmed]", o.name(), o.name())
		}
	}
	if x.called && runs {
		b = broken("%s runs although it is called as a backup", o.name())
	}
	c := &o.config.Outputs[o.output]
	if table.MayBeOpen(x.after.Unconfirmed) || c.AtOnce && x.after.Mode == interlock.Tripped {
		for _, i := range c.Backup {
			if backup := o.v.Model.Names.Outputs[i]; x.d.State.Outputs[i].Mode == interlock.Enabled {
				b = broken("%s runs on although %s calls it as its backup", backup, o.name()).must("never: %s is enabled", backup)
			}
		}
	}
	// An actuator has its travel time for every command, from the scan of the
	// command, and no more.
	switch added := x.after.Unconfirmed &^ x.before.Unconfirmed; {
	case added != 0 && x.travels <= c.Travel:
		b = broken("%s is unconfirmed after %d scans, has %d to travel", o.name(), x.travels, c.Travel).must("never: %s is unconfirmed", o.name())
	case x.travels > c.Travel && x.after.Unconfirmed == 0:
		b = broken("%s is not unconfirmed after %d scans, has %d to travel", o.name(), x.travels, c.Travel).must("always: %s is unconfirmed", o.name())
	}
	return b
}

// observeBypass: a bypass begins with a new press and ends by its time, counts for no
// vessel, and covers no more than it says.
func (o *observer) observeBypass(x *scan) (b breach) {
	for i := range o.config.Bypasses {
		c, key, name := &o.config.Bypasses[i], x.was.keys[i], o.v.Model.Names.Bypasses[i]
		if x.bypass[i] == 0 || !slices.Contains(o.needed, c.Channel) {
			continue
		}
		if x.bypass[i] == 1 && !(x.level(c.Input) == interlock.True && o.fresh[c.Input-1] && key.Low && key.Gap > c.Gap) {
			b = broken("%s begins without a new press of its key after its gap", name).must("never: %s is active", name)
		}
		if x.bypass[i] > c.For {
			b = broken("%s is on in its %s scan, must end after %d", name, nth(x.bypass[i]), c.For).must("never: %s is active", name)
		}
	}
	for n, vessel := range o.vessels {
		if name := o.v.Model.Names.Vessels[vessel]; x.d.State.Vessels[vessel].Clear && !x.vessels[n].paid && o.bypassedBond(x, vessel) {
			b = broken("%s counts as earthed under a bypass", name).must("never: %s is clear", name)
		}
	}
	wrong := o.observeWithhold(x).says != "" || o.observeStart(x).says != ""
	for i := range o.config.Bypasses {
		if ch := o.config.Bypasses[i].Channel; wrong && x.bypass[i] > 0 && slices.Contains(o.needed, ch) {
			b = broken("%s runs under %s, which does not cover %s that is %s", o.name(), o.v.Model.Names.Bypasses[i], o.v.Model.Cause(ch), x.d.State.Channels[ch].Phase)
		}
	}
	if o.how(x) == stoppedForNothing && o.bypassedNeed(x) {
		b = o.forNothing()
	}
	return b
}

// bypassedBond says that a channel that shows the bond of a vessel is bypassed.
func (o *observer) bypassedBond(x *scan, vessel int) bool {
	shows := o.config.Vessels[vessel].BondedBy.Causes()
	for i := range o.config.Bypasses {
		if x.bypass[i] > 0 && shows.Has(o.config.Bypasses[i].Channel) {
			return true
		}
	}
	return false
}

// bypassedNeed says that a needed channel is bypassed.
func (o *observer) bypassedNeed(x *scan) bool {
	for i := range o.config.Bypasses {
		if x.bypass[i] > 0 && slices.Contains(o.needed, o.config.Bypasses[i].Channel) {
			return true
		}
	}
	return false
}

// observeComplete: it is not withheld although nothing asks for it.
func (o *observer) observeComplete(x *scan) (b breach) {
	if o.how(x) == stoppedForNothing && !o.bypassedNeed(x) {
		b = o.forNothing()
	}
	return b
}

func (o *observer) forNothing() breach {
	return broken("%s is withheld although nothing asks for it", o.name()).must("always: %s is enabled", o.name())
}

// observeKick: the watchdog is kicked in every scan that was not overrun and in no
// other, the coil is what the output says, and at power-up nothing runs.
func (o *observer) observeKick(x *scan) (b breach) {
	runs, overrun := x.after.Mode == interlock.Enabled, x.d.In.Overrun
	switch {
	case x.d.Decision.Kick == overrun:
		return broken("overrun %v, kick %v", overrun, x.d.Decision.Kick).must("%s: watchdog is kicked", map[bool]string{true: "never", false: "always"}[overrun])
	case x.d.Decision.Coils.Energised(o.output) != runs:
		return broken("the coil of %s is not what its memory says", o.name()).must("%s: %s is energised", map[bool]string{true: "always", false: "never"}[runs], o.name())
	case runs && overrun:
		return broken("%s runs through an overrun scan", o.name())
	case runs && !o.prior.Running:
		return broken("%s runs in the first scan since power-up", o.name())
	}
	return b
}
