package fault

import (
	"slices"
	"strings"

	"ohmgate/interlock"
	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// placer puts the faults of the catalogue where they can be on a site.
type placer struct{ *runs.Bench }

// At is a fault of the catalogue at one place of a site.
type At struct {
	Fault *catalogue.Fault
	On    string // channel, input, output or bypass; "bus", "logic"
}

func (a At) String() string { return a.Fault.Name + " on " + a.On }

// MarshalText is how reports have it.
func (a At) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// Near lists the faults that can be in the cone of an output, each at every place
// where it shows anything.
func Near(b *runs.Bench, output int) (list []At) {
	for _, p := range (placer{b}).places(output) {
		list = append(list, p.At)
	}
	return list
}

// placed is a fault of the catalogue at one place of the site.
type placed struct {
	At
	target int // channel, input, output or bypass number; 0 for the bus and the logic
	looks  []look
	meets  map[meeting]bool // what it has to do with
}

// samePlace says that two faults act on the very same thing, so that it matters
// which of them has the last word.
func (p *placed) samePlace(q *placed) bool {
	return p.Fault.On == q.Fault.On && p.target == q.target
}

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

// wearing are the faults under which the part has no bond while they show
// anything bad, and always where they hide it.
var wearing = []string{"corrosion", "film", "chatter", "vibration", "rotation"}

// comeAndGo are the faults that are not there in every scan.
var comeAndGo = []string{"film", "chatter", "vibration", "rotation", "noise", "fast_bursts"}

// places puts every fault of the catalogue wherever it can be in a cone: the
// channels and inputs that can touch the output or its vessels, its actuator,
// those in series with it and those that call it.
func (p placer) places(output int) []placed {
	n, c := p.Model.Names, p.Model.Config
	near := p.near(output)
	var list []placed
	add := func(f *catalogue.Fault, on string, target int, looks []look) {
		for i := range looks {
			looks[i].on = on
			if looks[i].last == atTheThing && f.Hides {
				looks[i].last = hidingIt
			}
		}
		if len(looks) > 0 {
			list = append(list, placed{At: At{f, on}, target: target, looks: looks})
		}
	}
	for _, f := range catalogue.All() {
		switch f.On {
		case catalogue.OnChannel:
			for _, ch := range near.channels {
				add(f, n.Channels[ch], ch, p.channelLooks(f, ch))
			}
		case catalogue.OnInput:
			for _, i := range near.inputs {
				if fitsRole(f.Name, near.roles[i].Kind) {
					add(f, n.Inputs[i], i, p.inputLooks(f, i))
				}
			}
		case catalogue.OnOutput:
			for _, o := range near.outputs {
				add(f, n.Outputs[o], o, p.actuatorLooks(f, o))
			}
		case catalogue.OnBypass:
			for i := range c.Bypasses {
				if slices.Contains(near.channels, c.Bypasses[i].Channel) {
					add(f, n.Bypasses[i], i, p.inputLooks(f, int(c.Bypasses[i].Input)-1))
				}
			}
		case catalogue.OnBus:
			add(f, "bus", 0, []look{{text: "nothing arrives", last: onTheBus, gone: none, stuck: none, does: injection{silent: true}}})
		case catalogue.OnLogic:
			add(f, "logic", 0, machineLooks(f))
		}
	}
	return list
}

// nearby is what faults can be put on around one output.
type nearby struct {
	channels, inputs, outputs []int
	roles                     []runs.Role
}

func (p placer) near(output int) nearby {
	c, cone := p.Model.Config, p.Model.Cone(output)
	near := nearby{roles: runs.NewDriver(p.Logic, c, output).Roles}
	wired := func(list ...interlock.Ref) {
		for _, ref := range list {
			if ref != 0 {
				cone[len(c.Channels)+int(ref)-1] = true
			}
		}
	}
	outputs := append([]int{output}, c.CallersOf(output)...)
	for _, st := range c.StreamsOf(output) {
		outputs = append(outputs, c.Streams[st].Through...)
	}
	for _, o := range outputs {
		if !slices.Contains(near.outputs, o) {
			near.outputs = append(near.outputs, o)
			wired(c.Outputs[o].Closed, c.Outputs[o].Opened)
		}
	}
	for _, i := range c.VesselsOf(output) {
		bond := c.Vessels[i].BondedBy.Causes()
		bond.Each(func(cause int) { cone[cause] = true })
		wired(c.Vessels[i].Acknowledge)
		for _, st := range c.ChargedBy(i) {
			wired(c.Streams[st].Flow)
		}
	}
	for i := range c.Channels {
		if cone[i] {
			near.channels = append(near.channels, i)
		}
	}
	for i := range c.Inputs {
		if cone[len(c.Channels)+i] {
			near.inputs = append(near.inputs, i)
		}
	}
	return near
}

// fitsRole keeps button faults to buttons and end-switch faults to end switches.
func fitsRole(name string, kind runs.RoleKind) bool {
	button := kind == runs.RoleReset || kind == runs.RoleStart || kind == runs.RoleAcknowledge || kind == runs.RoleStop
	switch {
	case strings.HasPrefix(name, "button_"):
		return button
	case strings.HasPrefix(name, "end_switch_"):
		return kind == runs.RoleClosed || kind == runs.RoleOpened
	}
	return true
}

// channelLooks are what a fault can make a channel read, one class for as long
// as it acts, and for what comes and goes the pattern that is forgiven longest.
func (p placer) channelLooks(f *catalogue.Fault, ch int) []look {
	c := &p.Model.Config.Channels[ch].Config
	can, hides := table.Possible(c), p.hides(f, ch)
	classes := f.Sees.Readings.Classes(monitor.Good, c.OverRangeIsOpen)
	lost := f.Gone || slices.Contains(wearing, f.Name)
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
	if share := p.shareOf(ch); slices.Contains(comeAndGo, f.Name) && share.Bad > 0 && within(share.Pattern, classes) {
		add("comes and goes: "+model.PatternText(share.Pattern), true, 2*share.Bad > share.Of, share.Pattern...)
	}
	if evidence := p.Model.Config.Channels[ch].Evidence; f.Name == "clamp_on_wrong_object" && evidence != 0 {
		for i := range looks {
			looks[i].text += ", and its evidence is missing"
			looks[i].does.signals = showing(int(evidence-1), p.signal(int(evidence-1), interlock.False))
		}
	}
	return looks
}

// hides says that a fault hides a loss on this very channel: what closes through
// the part's own way to earth sees a strap that is missing, and a channel with a
// limit far below a megohm sees through a leak.
func (p placer) hides(f *catalogue.Fault, ch int) bool {
	const megohm = 1e12 // µΩ
	switch f.Name {
	case "strap_left_out":
		return ch >= len(p.Model.EarthPath) || !p.Model.EarthPath[ch]
	case "leak_path":
		return p.Model.Config.Channels[ch].Reject >= megohm
	}
	return f.Hides
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
	var looks []look
	if strings.HasPrefix(f.Name, "button_") || f.Name == "bypass_used" {
		on, off := p.signal(input, interlock.True), p.signal(input, interlock.False)
		x := look{text: "is held", last: onItsWire, gone: none, stuck: none, does: injection{signals: showing(input, on)}}
		if f.Name == "button_bouncing" {
			x.text, x.does.signals = "bounces", showing(input, on, off)
		}
		return []look{x}
	}
	for _, x := range [...]struct {
		member catalogue.Signals
		signal interlock.Signal
		text   string
	}{{catalogue.SignalLow, interlock.Low, "0"}, {catalogue.SignalHigh, interlock.High, "1"}, {catalogue.SignalFaulty, interlock.Faulty, "faulty"}, {catalogue.NoSignal, interlock.NoSignal, "no signal"}} {
		if f.Sees.Signals&x.member != 0 {
			looks = append(looks, look{text: "shows " + x.text, last: onItsWire, gone: none, stuck: none, does: injection{signals: showing(input, x.signal)}})
		}
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
