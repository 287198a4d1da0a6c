package fault

import (
	"slices"

	"ohmgate/interlock"
	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// look is one way in which a fault can show itself, for as long as it acts, and
// what is then true behind it.
type look struct {
	on    string
	text  string
	last  int // the order in which looks act: the later has the last word
	gone  int // channel whose bond is truly gone, or none
	stuck int // output whose actuator truly stays open, or none
	calm  bool
	news  monitor.Class // what a channel reads in every scan
	does  injection
}

// none is no channel and no output.
const none = -1

// Where two looks meet on their way to the logic: what the channel measures and
// the actuator does, what hides it, the input's wire, the bus, the machine.
const (
	atTheThing = iota
	hidingIt
	onItsWire
	onTheBus
	inTheMachine
)

// looks are all looks of a fault on one thing.
func (p placer) looks(f *catalogue.Fault, target int) (list []look) {
	on := ""
	switch n := p.Model.Names; f.On {
	case catalogue.OnChannel:
		on, list = n.Channels[target], p.channelLooks(f, target)
	case catalogue.OnInput:
		on, list = n.Inputs[target], p.inputLooks(f, target)
	case catalogue.OnOutput:
		on, list = n.Outputs[target], p.actuatorLooks(f, target)
	case catalogue.OnBypass:
		on, list = n.Bypasses[target], p.inputLooks(f, int(p.Model.Config.Bypasses[target].Input)-1)
	case catalogue.OnBus:
		on, list = "bus", []look{{text: "nothing arrives", last: onTheBus, gone: none, stuck: none, does: injection{silent: true}}}
	case catalogue.OnLogic:
		on, list = "logic", machineLooks(f)
	}
	for i := range list {
		list[i].on = on
		if list[i].last == atTheThing && f.Hides != catalogue.HidesNothing {
			list[i].last = hidingIt
		}
	}
	return list
}

// channelLooks are what a fault can make a channel read, one class for as long
// as it acts, and for what comes and goes the pattern that is forgiven longest.
func (p placer) channelLooks(f *catalogue.Fault, ch int) []look {
	c := &p.Model.Config.Channels[ch].Config
	can, hides := table.Possible(c), p.hides(f, ch)
	classes := f.Sees.Readings.Classes(monitor.Good, c.OverRangeIsOpen)
	lost := f.Bond != catalogue.BondStays
	var looks []look
	add := func(text string, calm, gone bool, pattern ...monitor.Class) {
		shows := slices.Clone(pattern)
		for i := range shows {
			if shows[i] == monitor.Good && !hides { // what hides nothing is away while it is good
				shows[i] = asBefore
			}
		}
		x := look{text: text, calm: calm, gone: none, stuck: none, news: pattern[0], does: injection{reads: showing(ch, shows...)}}
		if lost && gone {
			x.gone = ch
		}
		looks = append(looks, x)
	}
	// Good first: of looks that are equally bad the first is told, and good is what
	// most of them read.
	for _, class := range [...]monitor.Class{monitor.Good, monitor.Missing, monitor.Invalid, monitor.Open, monitor.High, monitor.Between} {
		calm := class == monitor.Good || class == monitor.Between
		if classes[class] && can[class] && (!calm || hides) {
			add("reads "+class.String(), calm, true, class)
		}
	}
	if share := p.shareOf(ch); f.Course == catalogue.ComesAndGoes && share.Bad > 0 && within(share.Pattern, classes) {
		add("comes and goes: "+model.PatternText(share.Pattern), true, 2*share.Bad > share.Of, share.Pattern...)
	}
	return p.withEvidence(f, ch, looks)
}

// withEvidence tells how the object evidence of the channel stands under each look.
func (p placer) withEvidence(f *catalogue.Fault, ch int, looks []look) []look {
	ref := p.Model.Config.Channels[ch].Evidence
	if ref == 0 || f.Evidence == catalogue.EvidenceStays {
		return looks
	}
	gone := slices.Clone(looks)
	for i := range gone {
		gone[i].text += ", and its evidence is missing"
		gone[i].does.signals = showing(int(ref-1), p.signal(int(ref-1), interlock.False))
	}
	if f.Evidence == catalogue.EvidenceGoes {
		return gone
	}
	return append(looks, gone...)
}

// hides says that a fault hides a loss on this very channel: what closes through
// the part's own way to earth sees a strap that is missing, and a channel with a
// limit far below a megohm sees through a leak.
func (p placer) hides(f *catalogue.Fault, ch int) bool {
	const megohm = 1e12 // µΩ
	switch f.Hides {
	case catalogue.HidesNothing:
		return false
	case catalogue.HidesFromTheClamp:
		return ch >= len(p.Model.EarthPath) || !p.Model.EarthPath[ch]
	case catalogue.HidesOnMegohms:
		return p.Model.Config.Channels[ch].Reject >= megohm
	}
	return true
}

func (p placer) shareOf(ch int) table.Share {
	f, err := p.FactsOf(ch)
	if err != nil || f.Share.Bound {
		return table.Share{}
	}
	return f.Share
}

// within says that a pattern is made of these classes and of good readings.
func within(pattern []monitor.Class, classes [monitor.Classes]bool) bool {
	for _, class := range pattern {
		if class != monitor.Good && !classes[class] {
			return false
		}
	}
	return len(pattern) > 0
}

func (p placer) inputLooks(f *catalogue.Fault, input int) []look {
	on, off := p.signal(input, interlock.True), p.signal(input, interlock.False)
	var looks []look
	add := func(text string, shows ...interlock.Signal) {
		looks = append(looks, look{text: text, last: onItsWire, gone: none, stuck: none, does: injection{signals: showing(input, shows...)}})
	}
	var can []interlock.Signal
	for _, x := range [...]struct {
		member catalogue.Signals
		signal interlock.Signal
		text   string
	}{
		{catalogue.SignalLow, interlock.Low, "shows 0"}, {catalogue.SignalHigh, interlock.High, "shows 1"}, {catalogue.SignalFaulty, interlock.Faulty, "shows faulty"},
		{catalogue.NoSignal, interlock.NoSignal, "shows no signal"}, {catalogue.ContactMade, on, "is held"}, {catalogue.ContactOpen, off, "is open"},
	} {
		if f.Sees.Signals&x.member != 0 {
			can = append(can, x.signal)
			if f.Course != catalogue.Bounces {
				add(x.text, x.signal)
			}
		}
	}
	if f.Course != catalogue.Steady {
		if len(can) == 1 || f.Sees.Signals&catalogue.SignalAsBefore != 0 {
			can = append(can, asBefore)
		}
		add("bounces", can...)
	}
	return looks
}

// actuatorLooks: an actuator that does not follow shows its switches as it truly
// stands; one that stays open while withheld matters once it is withheld.
func (p placer) actuatorLooks(f *catalogue.Fault, output int) []look {
	o := &p.Model.Config.Outputs[output]
	var looks []look
	add := func(text string, stuck int, closed, opened interlock.Truth) {
		var does injection
		report := func(at interlock.Ref, t interlock.Truth) {
			if at != 0 {
				does = does.then(injection{signals: showing(int(at-1), p.signal(int(at-1), t))})
			}
		}
		report(o.Closed, closed)
		report(o.Opened, opened)
		looks = append(looks, look{text: text, calm: stuck != none, gone: none, stuck: stuck, does: does})
	}
	if f.Sees.Actuator&catalogue.StaysOpen != 0 {
		add("stays open", output, interlock.False, interlock.True)
	}
	if f.Sees.Actuator&catalogue.MovesLate != 0 {
		add("is late", none, interlock.False, interlock.True)
	}
	if f.Sees.Actuator&catalogue.StaysShut != 0 {
		add("stays shut", none, interlock.True, interlock.False)
	}
	if f.Sees.Actuator&catalogue.StaysBetween != 0 {
		add("stays half-way", output, interlock.False, interlock.False)
	}
	return looks
}

func machineLooks(f *catalogue.Fault) []look {
	x := look{text: "overruns", last: inTheMachine, gone: none, stuck: none, does: injection{overruns: true}}
	if f.Sees.Machine&catalogue.LosesMemory != 0 {
		x.text, x.does = "loses its memory", injection{unpowered: true}
	}
	return []look{x}
}

// signal is what makes an input say a value.
func (p placer) signal(input int, t interlock.Truth) interlock.Signal {
	return (&runs.Driver{Config: p.Model.Config}).Signal(input, t)
}
