package fault

import (
	"fmt"
	"slices"
	"time"

	"ohmgate/interlock"
	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/site/quantity"
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
	last  int           // the order in which looks act: the later has the last word
	gone  int           // channel whose bond is truly gone, or none
	stuck int           // output whose actuator truly stays open, or none
	shows bool          // something that a healthy plant would not show
	bad   monitor.Class // what a channel reads in every scan; good if nothing bad, or not in every scan
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
		on, list = "bus", busLooks(f)
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

// channelLooks are what a fault can make a channel read: nothing of it, each class
// for as long as it acts, and of what comes and goes the patterns of its own classes
// that are forgiven longest.
func (p placer) channelLooks(f *catalogue.Fault, ch int) []look {
	c, facts := &p.Model.Config.Channels[ch].Config, p.channel(ch)
	b := channelLooks{ch: ch, bond: f.Bond, hides: f.HidesOn(facts)}
	makes, can := f.Makes(monitor.Good, c), table.Possible(c)
	if f.Course != catalogue.Steady || f.Sees.Readings&catalogue.AsBefore != 0 || !b.hides && f.Sees.Readings&(catalogue.ReadsGood|catalogue.ReadsBetween) != 0 {
		b.asBefore()
	}
	var own []monitor.Class
	for _, class := range [...]monitor.Class{monitor.Good, monitor.Missing, monitor.Invalid, monitor.Open, monitor.High, monitor.Between} {
		switch calm := class == monitor.Good || class == monitor.Between; {
		case !makes[class] || !can[class]:
		case !calm:
			b.add("reads "+class.String(), class, f.Bond == catalogue.BondGone || f.Bond == catalogue.BondAsRead && !tooLow(f, c, class), class)
			own = append(own, class)
		case b.hides:
			b.add("reads "+class.String(), monitor.Good, f.Bond != catalogue.BondStays, class)
		}
	}
	if f.Course != catalogue.Steady {
		p.patterns(&b, ch, own)
	}
	return p.withEvidence(f, ch, b.looks)
}

// tooLow says that a fault that only loosens a connection reads invalid because that is
// too good to be true, and not because the device calls over-range a fault of its own.
func tooLow(f *catalogue.Fault, c *monitor.Config, class monitor.Class) bool {
	return class == monitor.Invalid && (c.OverRangeIsOpen || f.Sees.Readings&catalogue.ReadsOver == 0)
}

// channelLooks collects the looks of a fault on a channel.
type channelLooks struct {
	ch    int
	bond  catalogue.Bond
	hides bool
	looks []look
}

// add is a look that reads some classes over and over. What hides nothing is away
// while it reads good.
func (b *channelLooks) add(text string, bad monitor.Class, gone bool, pattern ...monitor.Class) {
	reads := slices.Clone(pattern)
	for i := range reads {
		if reads[i] == monitor.Good && !b.hides {
			reads[i] = asBefore
		}
	}
	x := look{text: text, gone: none, stuck: none, shows: bad != monitor.Good || len(pattern) > 1, bad: bad, does: injection{reads: showing(b.ch, reads...)}}
	if gone {
		x.gone = b.ch
	}
	b.looks = append(b.looks, x)
}

// asBefore is the look of a fault that is too small, too short or too well hidden to
// show anything.
func (b *channelLooks) asBefore() {
	x := look{text: "reads as before", gone: none, stuck: none, bad: monitor.Good}
	if b.bond == catalogue.BondGone || b.bond == catalogue.BondAsRead && b.hides {
		x.gone = b.ch
	}
	b.looks = append(b.looks, x)
}

// patterns are what is forgiven for ever of a fault's own classes: of each alone, and
// of all of them together.
func (p placer) patterns(b *channelLooks, ch int, own []monitor.Class) {
	add := func(bad, of uint64, bound bool, pattern []monitor.Class) {
		if len(pattern) > 0 {
			gone := b.bond == catalogue.BondGone || b.bond == catalogue.BondAsRead && (bound || 2*bad > of)
			b.add("comes and goes: "+model.PatternText(pattern), monitor.Good, gone, pattern...)
		}
	}
	sets := [][]monitor.Class{own}
	for _, class := range own {
		sets = append(sets, []monitor.Class{class})
	}
	for i, set := range sets {
		if i > 0 && len(own) == 1 {
			break
		}
		if share := p.shareOf(ch, set); share.Bad > 0 {
			add(share.Bad, share.Of, share.Bound, share.Pattern)
		}
	}
	if c := &p.Model.Config.Channels[ch].Config; slices.Contains(own, monitor.Missing) && c.StaleAfter > 0 && c.StaleAfter <= longestGap {
		gap := slices.Repeat([]monitor.Class{monitor.Missing}, int(c.StaleAfter))
		add(uint64(len(gap)), uint64(len(gap)+1), false, append(gap, monitor.Good))
	}
}

// longestGap is how many scans without a reading are still laid out scan by scan.
const longestGap = 1 << 10

// limit says up to which value of the parameter that bounds what it reads a fault
// keeps a channel from reading high.
func (p placer) limit(f *catalogue.Fault, target int) string {
	if f.AtMost == "" {
		return ""
	}
	return f.AtMost + " up to " + quantity.Ohms(int64(p.Model.Config.Channels[target].Reject))
}

// withEvidence adds to each look the same without the object evidence of the channel,
// unless that stays.
func (p placer) withEvidence(f *catalogue.Fault, ch int, looks []look) []look {
	ref := p.Model.Config.Channels[ch].Evidence
	if ref == 0 || f.Evidence == catalogue.EvidenceStays {
		return looks
	}
	gone := slices.Clone(looks)
	for i := range gone {
		gone[i].text += ", and its evidence is missing"
		gone[i].shows = true
		gone[i].does.signals = showing(int(ref-1), p.signal(int(ref-1), interlock.False))
	}
	return append(looks, gone...)
}

// channel is what of a channel decides what is hidden from it.
func (p placer) channel(ch int) catalogue.Channel {
	yes := func(list []bool) bool { return ch < len(list) && list[ch] }
	return catalogue.Channel{EarthPath: yes(p.Model.EarthPath), Slow: yes(p.Model.Slow), Stamped: p.Model.Config.Channels[ch].Stamped}
}

// shareOf is the largest share of some bad classes that a channel forgives for ever,
// found once.
func (p placer) shareOf(ch int, bad []monitor.Class) table.Share {
	c := &p.Model.Config.Channels[ch].Config
	key := fmt.Sprint(*c, bad)
	if share, ok := p.shares[key]; ok {
		return share
	}
	share := table.Share{}
	if t, err := p.ChannelTable(c); err == nil {
		share = t.ShareOf(p.Options.MemoryLimit(), bad...)
	}
	p.shares[key] = share
	return share
}

// pressed is how long a hand is on a button, usually.
const pressed = 500 * time.Millisecond

func (p placer) inputLooks(f *catalogue.Fault, input int) []look {
	on, off := p.signal(input, interlock.True), p.signal(input, interlock.False)
	var looks []look
	add := func(text string, shows ...interlock.Signal) {
		looks = append(looks, look{text: text, last: onItsWire, gone: none, stuck: none, shows: true, bad: monitor.Good, does: injection{signals: showing(input, shows...)}})
	}
	if !f.Act && (f.Course != catalogue.Steady || f.Sees.Signals&catalogue.SignalAsBefore != 0) { // an act is never nothing
		looks = append(looks, look{text: "shows as before", gone: none, stuck: none, bad: monitor.Good})
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
		if f.Course == catalogue.ComesAndGoes {
			n := int(min(max(pressed/p.Model.PeriodMax, 2), 100))
			add("comes and goes, half a second each", append(slices.Repeat(can[:1], n), slices.Repeat([]interlock.Signal{asBefore}, n)...)...)
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
		looks = append(looks, look{text: text, gone: none, stuck: stuck, shows: true, bad: monitor.Good, does: does})
	}
	if f.Course != catalogue.Steady || f.Sees.Actuator&catalogue.MovesLate != 0 { // not too late
		looks = append(looks, look{text: "moves in time", gone: none, stuck: none, bad: monitor.Good})
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

func busLooks(f *catalogue.Fault) []look {
	silent := look{text: "nothing arrives", last: onTheBus, gone: none, stuck: none, shows: true, bad: monitor.Good, does: injection{silent: true}}
	return atTimes(f, silent)
}

func machineLooks(f *catalogue.Fault) []look {
	x := look{text: "overruns", last: inTheMachine, gone: none, stuck: none, shows: true, bad: monitor.Good, does: injection{overruns: true}}
	if f.Sees.Machine&catalogue.LosesMemory != 0 {
		x.text, x.does = "loses its memory", injection{unpowered: true}
	}
	return atTimes(f, x)
}

// atTimes adds to the only look of a fault that of its absence, unless it is steady.
func atTimes(f *catalogue.Fault, x look) []look {
	if f.Course == catalogue.Steady {
		return []look{x}
	}
	away := x
	away.text, away.shows, away.does = "is as before", false, injection{}
	return []look{away, x}
}

// signal is what makes an input say a value.
func (p placer) signal(input int, t interlock.Truth) interlock.Signal {
	return (&runs.Driver{Config: p.Model.Config}).Signal(input, t)
}
