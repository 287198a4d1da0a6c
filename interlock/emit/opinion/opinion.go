// Package opinion asks somebody else.
//
// Picture a second engineer who never saw the program: handed the rules on paper
// and the numbers of one site, they build the same model with other tools and
// count. If their count of states or one of their verdicts differs, one of the
// two is wrong. The rules in *.rules restate monitor.Advance, the output's step
// and the properties' own memory from SEMANTICS.md, line by line, in a small
// common language; this package prints them as Promela for SPIN and as Murphi
// for rumur. No table of the verifier's is printed but one: what the permissive
// and a vessel's bond can be while all other causes are free.
//
// State is exactly what the declarations of the printed source list: every
// variable that is kept from one scan to the next. One scan is one step.
package opinion

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify"
	"ohmgate/monitor"
)

//go:embed channel.rules
var channelRules string

//go:embed reset.rules
var resetRules string

// Source is one product of the search plan, ready to be printed.
type Source struct {
	Title     string
	constants []constant
	memory    []variable // kept from scan to scan
	inputs    []input
	scratch   []variable // of one scan
	body      []string
	counters  map[string]counter
	left      map[string][][3]uint8
	judged    []int
}

type constant struct {
	name  string
	value uint64
}

// variable holds 0 to top.
type variable struct {
	name string
	top  uint64
}

// input is chosen anew in every scan. Where may[i] is not empty, values[i] can
// only be chosen while it holds.
type input struct {
	name   string
	values []uint64
	may    []string
}

// counter is cut into cells; each is named by its first value.
type counter struct {
	first []uint64
	top   uint64
}

// wide lists the cells that hold more than one value.
func (c counter) wide() (list []uint64) {
	for i, v := range c.first {
		if c.last(i) > v {
			list = append(list, v)
		}
	}
	return list
}

func (c counter) last(i int) uint64 {
	if i+1 < len(c.first) {
		return c.first[i+1] - 1
	}
	return c.top
}

func (c counter) cellOf(v uint64) uint64 {
	cell := uint64(0)
	for _, f := range c.first {
		if f <= v {
			cell = f
		}
	}
	return cell
}

// Properties are the default properties that the rules can judge.
var Properties = []int{2, 3, 7, 10}

// Judges says whether a property is one of them.
func Judges(property int) bool { return slices.Contains(Properties, property) }

// Restate makes the source of a product. Of the properties named it will demand
// that none is violated.
func Restate(p *verify.Piece, properties ...int) (*Source, error) {
	if p.Kind != "reset" {
		return nil, fmt.Errorf("a product of kind %s is not restated; only reset is", p.Kind)
	}
	s := &Source{Title: fmt.Sprintf("output %s with channel %s in full detail", p.Output, p.Channel), counters: map[string]counter{}, left: map[string][][3]uint8{}, judged: properties}
	s.channel(p)
	s.output(p)
	s.body = append(lines(channelRules), lines(resetRules)...)
	s.findScratch()
	return s, nil
}

func lines(text string) []string { return strings.Split(strings.TrimSpace(text), "\n") }

func (s *Source) constant(name string, value uint64) {
	s.constants = append(s.constants, constant{name, value})
}

func (s *Source) number(names string) {
	for i, name := range strings.Fields(names) {
		s.constant(name, uint64(i))
	}
}

func (s *Source) flag(name string, on bool) { s.constant(name, toNumber(on)) }

func toNumber(on bool) uint64 {
	if on {
		return 1
	}
	return 0
}

func (s *Source) keep(top uint64, names string) {
	for _, name := range strings.Fields(names) {
		s.memory = append(s.memory, variable{name, top})
	}
}

// choose adds an input; one that has a single value is a constant.
func (s *Source) choose(name string, values ...uint64) *input {
	if len(values) == 1 {
		s.constant(name, values[0])
		return nil
	}
	s.inputs = append(s.inputs, input{name, values, make([]string, len(values))})
	return &s.inputs[len(s.inputs)-1]
}

// only restricts the choice of one value.
func (in *input) only(value uint64, guard string) {
	if in == nil {
		return
	}
	for i, v := range in.values {
		if v == value {
			in.may[i] = guard
		}
	}
}

func upTo(n uint64) []uint64 {
	var list []uint64
	for v := uint64(0); v < n; v++ {
		list = append(list, v)
	}
	return list
}

// count adds a counter; where it has a wide cell, the scan chooses whether it
// stands at the cell's first value or at its last.
func (s *Source) count(name string, first []verify.Scans, top uint64, while string) {
	c := counter{top: top}
	for _, f := range first {
		c.first = append(c.first, uint64(f))
	}
	s.counters[name] = c
	s.keep(c.first[len(c.first)-1], name)
	var at []string
	for _, v := range c.wide() {
		at = append(at, fmt.Sprintf("%s == %d", name, v))
	}
	if len(at) > 0 {
		s.choose("last_"+name, 0, 1).only(1, while+"("+strings.Join(at, " || ")+")")
	}
}

func (s *Source) channel(p *verify.Piece) {
	c := &p.Config
	s.number("MISSING INVALID OPEN HIGH BETWEEN GOOD")
	s.number("UNCONNECTED SETTLING BONDED DOUBTFUL LOST UNREADABLE SAME")
	s.number("NO UNKNOWN YES")
	s.constant("STALE_AFTER", uint64(c.StaleAfter))
	s.constant("SETTLE_SCANS", uint64(c.SettleScans))
	s.constant("SETTLE_READINGS", uint64(c.SettleReadings))
	s.constant("SETTLE_PAUSE", uint64(c.SettlePause))
	s.constant("FULL", uint64(c.Full))
	s.constant("REPAY", uint64(c.Repay))
	s.constant("LONGEST_STAY", uint64(c.LongestStay))
	for class := monitor.Missing; class <= monitor.High; class++ {
		s.constant("COST_"+strings.ToUpper(class.String()), uint64(c.Cost[class]))
	}
	s.flag("BYPASSED", p.Bypassed)
	s.flag("COVERS_LOST", p.CoversLost)
	s.flag("CUT", p.Cut)
	s.keep(5, "phase cls")
	s.keep(uint64(c.StaleAfter)+1, "age")
	s.keep(uint64(c.SettleScans), "srun")
	s.keep(uint64(c.SettleReadings), "scount")
	s.keep(uint64(c.SettlePause), "paused")
	s.keep(uint64(c.Full), "doubt")
	s.keep(1, "parted")
	var news []uint64
	for _, class := range p.News() {
		news = append(news, uint64(class))
	}
	s.choose("news", news...)
	s.count("stay", p.Doubtful, uint64(c.LongestStay), "phase == DOUBTFUL && ")
	if p.Evidence {
		s.choose("evid", 0, 1, 2)
	} else {
		s.choose("evid", 2)
	}
	s.choose("stands", upTo(1+toNumber(p.Bypassed))...)
}

func (s *Source) output(p *verify.Piece) {
	o := &p.Out
	s.number("KEPT_OUT TRIPPED ENABLED")
	s.number("B_UNSEEN B_IDLE B_PRESSED B_SPOILED B_GIVEN")
	s.number("P_SPOILED P_IDLE P_DOWN P_UP")
	s.flag("CONFIRMABLE", p.Confirmable())
	s.flag("AUTOMATIC", o.Automatic)
	s.flag("HAS_START", o.Start != 0)
	s.constant("ON_DELAY", uint64(o.OnDelay))
	s.constant("TRAVEL", uint64(o.Travel))
	s.constant("PRESS_MIN", uint64(o.Press.Min))
	s.constant("PRESS_MAX", uint64(o.Press.Max))
	s.keep(2, "mode")
	s.keep(1, "so ss uc uo seenAway seenHome ready armed startLow released")
	s.keep(4, "bphase")
	s.keep(3, "wpress")
	s.keep(1, "warmed wwas wstart waway whome")
	s.keep(2, "wbutton")
	s.left["PERM"] = p.Perm
	s.choose("nth", upTo(uint64(len(p.Perm)))...)
	s.chooseShared(o.Stop != 0)
	s.choose("ended", 0, 1).only(1, "mode == ENABLED")
	reports := uint64(1)
	if p.Confirmable() {
		reports = 4
		if o.Closed == 0 || o.Opened == 0 {
			reports = 3
		}
	}
	s.choose("report", upTo(reports)...)
	s.chooseButtons(o.Reset != 0, o.Start != 0)
	s.count("on", p.OnDelay, uint64(o.OnDelay)+1, "mode != ENABLED && ")
	s.count("held", p.Held, uint64(max(o.Press.Max, 1)), "bphase == B_PRESSED && ")
	s.count("disagree", p.Travel, uint64(o.Travel)+1, "")
}

// chooseShared is what withholds from outside: nothing, a wait, a stop, or what
// trips (overrun, power-up, a call as backup).
func (s *Source) chooseShared(stop bool) {
	values := []uint64{0, 1, 3}
	if stop {
		values = []uint64{0, 1, 2, 3}
	}
	shared := s.choose("shared", values...)
	shared.only(1, "mode == ENABLED")
	shared.only(2, "mode == ENABLED")
}

// chooseButtons: 0 a fresh 0, 1 a fresh 1, 2 a repeated 0, 3 a repeated 1, 4
// unknown. A gap can only repeat what stood before.
func (s *Source) chooseButtons(reset, start bool) {
	reading := func(has bool) []uint64 {
		if has {
			return upTo(5)
		}
		return upTo(1)
	}
	button := s.choose("reset", reading(reset)...)
	button.only(2, "wbutton == 1")
	button.only(3, "wbutton == 2")
	s.choose("begun", reading(start)...)
}

// findScratch lists what the rules assign and nobody declared.
func (s *Source) findScratch() {
	known := map[string]bool{}
	for _, v := range s.memory {
		known[v.name] = true
	}
	for _, line := range s.body {
		fields := strings.Fields(line)
		name := ""
		if len(fields) > 2 && fields[1] == ":=" {
			name = fields[0]
		} else if len(fields) == 4 && fields[0] == "pick" {
			name = fields[1]
		}
		if name != "" && !known[name] {
			known[name] = true
			s.scratch = append(s.scratch, variable{name, s.topOf(name)})
		}
	}
}

// topOf is the largest value of a scratch variable.
func (s *Source) topOf(name string) uint64 {
	if c, ok := s.counters[strings.TrimPrefix(name, "was_")]; ok {
		return c.top
	}
	switch name {
	case "cost":
		return s.valueOf("FULL")
	case "wasOn":
		return s.counters["on"].top
	}
	return 7
}

func (s *Source) valueOf(name string) uint64 {
	for _, c := range s.constants {
		if c.name == name {
			return c.value
		}
	}
	return 0
}
