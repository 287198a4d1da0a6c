package margin

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
)

// Hole is what the readings do not show.
type Hole struct {
	Channel string `json:"channel,omitempty"`
	Text    string `json:"text"`
	// Opens is true where a vessel could be run unbonded although every rule is
	// kept; such a hole makes the answer "not shown".
	Opens bool `json:"opens"`
}

// Start is answer (i): is a start without bond prevented?
type Start struct {
	Standing verdict.Verdict `json:"standing"`
	Why      string          `json:"why"`
	Holes    []Hole          `json:"holes"`
}

func (b *bench) start(nd *node) Start {
	a := Start{Standing: verdict.Shown, Holes: []Hole{}}
	if len(nd.channels) == 0 {
		a.Standing, a.Why = verdict.NotShown, "no channel shows the earth of "+nd.name+": it rests on "+bondWords(nd)
		return a
	}
	var all []interlock.Permissive
	for _, name := range nd.stream.Through {
		all = append(all, b.config.Outputs[b.site.OutputIndex(name)].Permissive)
	}
	s := b.search(all, nd.bond, nil)
	switch s.run() {
	case found:
		a.Standing = verdict.Violated
		a.Why = fmt.Sprintf("%s may start %s without the bond", strings.Join(nd.stream.Through, " and "), s.example(b.site.CauseName))
	case cutOff:
		a.Standing, a.Why = verdict.NotShown, "the permissives have too many cases to look at them all; use verify"
	default:
		a.Why = b.startRule(nd)
	}
	for _, c := range nd.channels {
		a.Holes = append(a.Holes, b.holes(&b.site.Channels[c])...)
	}
	for _, h := range a.Holes {
		if h.Opens {
			a.Standing = verdict.Worse(a.Standing, verdict.NotShown)
		}
	}
	return a
}

func bondWords(nd *node) string {
	if nd.part != nil {
		return nd.part.BondedBy
	}
	return "nothing that is monitored"
}

// startRule names the first output that by itself needs the bond, and what it
// takes.
func (b *bench) startRule(nd *node) string {
	who := strings.Join(nd.stream.Through, " and ") + " together need"
	for _, name := range nd.stream.Through {
		o := b.config.Outputs[b.site.OutputIndex(name)]
		if b.search([]interlock.Permissive{o.Permissive}, nd.bond, nil).run() == none {
			who = name + " needs"
			break
		}
	}
	c := &b.site.Channels[nd.channels[0]]
	return fmt.Sprintf("%s %s, bonded for %s and %d fresh readings", who, b.site.Render(nd.bond),
		quantity.Duration(c.SettleTime), c.SettleReadings)
}

// holes are what the site leaves open at one channel.
func (b *bench) holes(c *site.Channel) []Hole {
	var list []Hole
	add := func(when, opens bool, text string) {
		if when {
			list = append(list, Hole{c.Name, text, opens})
		}
	}
	add(c.Evidence == "", true, "no object evidence: a clamp on another object reads just as well")
	add(!c.Stamped, true, "the device does not tell when it measured: a frozen reading is not detected")
	add(c.Measures == "clamp-loop", false, "clamp loop: shows that the jaws bite metal, not that it reaches earth")
	add(c.Measures == "earth-path", false, "earth path: rails or pipes may hide a broken strap")
	add(c.Floor == 0, false, "no plausible floor: shorted leads read as a bond")
	add(c.Kind == "dissipative" && c.HangingFree == 0, true, "the reading with nothing connected is not recorded: a wet plug may read as a bond")
	add(c.Kind == "metal" && !c.Transmitter.BothPoles, false, "one polarity: a stray current can move the reading")
	for i := range b.site.Bypasses {
		y := &b.site.Bypasses[i]
		if y.Channel != c.Name {
			continue
		}
		add(y.Covers == "lost", true, fmt.Sprintf("%s covers a lost bond for %s", y.Name, quantity.Duration(y.For)))
		add(y.Covers != "lost", false, fmt.Sprintf("%s goes on without a reading for %s", y.Name, quantity.Duration(y.For)))
	}
	return list
}
