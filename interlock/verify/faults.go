package verify

import (
	"encoding/csv"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/monitor"
)

// The fault table asks of every fault of the catalogue, and of every pair, what
// the real logic makes of it on the whole site: which rule sees it, after how
// many scans, with what effect; or that no rule does, so that only a proof test
// can. Every look that a fault can have is tried for as long as it takes.

// FaultRow is one line of the fault table: one fault, or two together.
type FaultRow struct {
	Output   string `json:"output"`
	Fault    string `json:"fault"`
	On       string `json:"on"`
	Second   string `json:"second,omitempty"`
	SecondOn string `json:"second_on,omitempty"`
	Seen     bool   `json:"seen"`
	Rule     string `json:"rule"`
	Scans    Scans  `json:"scans"` // at most, from the first scan that shows it
	Effect   string `json:"effect"`
	Instead  string `json:"proof_test,omitempty"` // what shows it where no rule does
}

// Defeat is a set of faults under which an output runs although a bond that it
// needs is gone, or flows although it is withheld.
type Defeat struct {
	Output string   `json:"output"`
	Faults []string `json:"faults"`
	Run    *Run     `json:"run"`
}

// FaultTable is every single fault, every pair, and what defeats the interlock.
type FaultTable struct {
	Rows    []FaultRow `json:"rows"`
	Defeats []Defeat   `json:"defeats"`
	// Missed counts the faults that no rule sees.
	Singles, Pairs, Missed int
}

// look is one way in which a fault can show itself, for as long as it acts.
type look struct {
	on    string
	text  string
	calm  bool // reads as if nothing were wrong
	apply func(d *driver)
}

// placed is a fault of the catalogue at one place of the site.
type placed struct {
	fault  *fault.Fault
	on     string
	target int // channel, input, output or bypass number
	looks  []look
	gone   bool // the bond is truly gone, or the actuator truly stays open
}

func (p *placed) name() string { return p.fault.Name + " on " + p.on }

// Faults makes the fault table of the wanted outputs.
func Faults(m *Model, o Options, pairs bool) (*FaultTable, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	t := &FaultTable{}
	for i, output := range v.outputs {
		v.faultsOf(t, output, pairs)
		if o.Progress != nil {
			o.Progress(i+1, len(v.outputs), "faults of "+m.Names.Outputs[output], uint64(len(t.Rows)))
		}
	}
	return t, nil
}

func (v *verification) faultsOf(t *FaultTable, output int, pairs bool) {
	s := v.start(output)
	if !s.runs {
		return
	}
	places := v.places(output)
	known := map[string]outcome{}
	for i := range places {
		row := v.row(s, output, known, &places[i], nil)
		t.Rows = append(t.Rows, row)
		t.Singles++
		t.Missed += b2i(!row.Seen)
	}
	if !pairs {
		return
	}
	for i := range places {
		for k := range places {
			if k <= i || places[i].fault.On == places[k].fault.On && places[i].target == places[k].target && !places[i].gone && !places[k].gone {
				continue
			}
			row := v.row(s, output, known, &places[i], &places[k])
			t.Rows = append(t.Rows, row)
			t.Pairs++
			if !row.Seen && (places[i].gone || places[k].gone) {
				t.Defeats = append(t.Defeats, v.defeat(s, output, &places[i], &places[k]))
			}
		}
	}
}

// places puts every fault of the catalogue wherever it can be in a cone.
func (v *verification) places(output int) []placed {
	c, n := v.model.Config, v.model.Names
	cone := v.cone(output)
	var list []placed
	add := func(f *fault.Fault, on string, target int, looks []look, gone bool) {
		for i := range looks {
			looks[i].on = on
		}
		if len(looks) > 0 {
			list = append(list, placed{f, on, target, looks, gone})
		}
	}
	roles := newDriver(v.logic, c, output).roles
	for _, f := range fault.All() {
		switch f.On {
		case fault.OnChannel:
			for _, ch := range v.channelsOf(output, -1) {
				add(f, n.Channels[ch], ch, v.channelLooks(f, ch), f.Name == "clamp_removed")
			}
		case fault.OnInput:
			for i := range c.Inputs {
				if cone[len(c.Channels)+i] && fitsRole(f.Name, roles[i].kind) {
					add(f, n.Inputs[i], i, v.inputLooks(f, i), false)
				}
			}
		case fault.OnOutput:
			if len(c.StreamsOf(output)) == 0 {
				continue // no product flows through it
			}
			add(f, n.Outputs[output], output, v.actuatorLooks(f, output), f.Name == "stuck_valve")
		case fault.OnBypass:
			for i := range c.Bypasses {
				if cone[c.Bypasses[i].Channel] {
					add(f, n.Bypasses[i], i, v.inputLooks(f, int(c.Bypasses[i].Input)-1), false)
				}
			}
		case fault.OnBus:
			add(f, "bus", 0, []look{{"", "nothing arrives", false, (*driver).silence}}, false)
		case fault.OnLogic:
			add(f, "logic", 0, machineLooks(f), false)
		}
	}
	return list
}

// fitsRole keeps button faults to buttons and end-switch faults to end switches.
func fitsRole(name string, kind roleKind) bool {
	button := kind == roleReset || kind == roleStart || kind == roleAcknowledge || kind == roleStop
	switch {
	case strings.HasPrefix(name, "button_"):
		return button
	case strings.HasPrefix(name, "end_switch_"):
		return kind == roleClosed || kind == roleOpened
	}
	return true
}

func (v *verification) channelLooks(f *fault.Fault, ch int) []look {
	c := &v.model.Config.Channels[ch].Config
	can := possible(c)
	classes := f.Sees.Readings.Classes(monitor.Good, c.OverRangeIsOpen)
	var looks []look
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		if !classes[class] || !can[class] {
			continue
		}
		calm := class == monitor.Good || class == monitor.Between
		if class == monitor.Good && !f.Hides {
			continue // reads good because all is well
		}
		looks = append(looks, look{"", "reads " + class.String(), calm, func(d *driver) {
			d.in.Readings[ch] = readingOf(c, class, d.stamp)
		}})
	}
	return looks
}

func (v *verification) inputLooks(f *fault.Fault, input int) []look {
	var looks []look
	for _, x := range [...]struct {
		member fault.Signals
		signal interlock.Signal
		text   string
	}{{fault.SignalLow, interlock.Low, "0"}, {fault.SignalHigh, interlock.High, "1"}, {fault.SignalFaulty, interlock.Faulty, "faulty"}, {fault.NoSignal, interlock.NoSignal, "no signal"}} {
		if f.Sees.Signals&x.member != 0 {
			looks = append(looks, look{"", "shows " + x.text, false, func(d *driver) { d.in.Signals[input] = x.signal }})
		}
	}
	return looks
}

// actuatorLooks: an actuator that does not follow shows its switches as it truly
// stands; one that stays open while withheld matters once it is withheld.
func (v *verification) actuatorLooks(f *fault.Fault, output int) []look {
	o := &v.model.Config.Outputs[output]
	show := func(closed, opened interlock.Truth) func(d *driver) {
		return func(d *driver) {
			for _, x := range [...]struct {
				ref   interlock.Ref
				value interlock.Truth
			}{{o.Closed, closed}, {o.Opened, opened}} {
				if x.ref != 0 {
					d.in.Signals[x.ref-1] = d.signal(int(x.ref-1), x.value)
				}
			}
		}
	}
	var looks []look
	if f.Sees.Actuator&(fault.StaysOpen|fault.MovesLate) != 0 {
		looks = append(looks, look{"", "stays open", true, show(interlock.False, interlock.True)})
	}
	if f.Sees.Actuator&fault.StaysShut != 0 {
		looks = append(looks, look{"", "stays shut", false, show(interlock.True, interlock.False)})
	}
	if f.Sees.Actuator&fault.StaysBetween != 0 {
		looks = append(looks, look{"", "stays half-way", false, show(interlock.False, interlock.False)})
	}
	return looks
}

func machineLooks(f *fault.Fault) []look {
	if f.Sees.Machine&fault.LosesMemory != 0 {
		return []look{{"", "loses its memory", false, func(d *driver) { d.state.PowerUp() }}}
	}
	return []look{{"", "overruns", false, func(d *driver) { d.in.Overrun = true }}}
}

// silence lets nothing arrive.
func (d *driver) silence() {
	for i := range d.in.Readings {
		d.in.Readings[i] = monitor.Reading{}
	}
	clear(d.in.Signals)
}

// outcome is what became of one look, or of two.
type outcome struct {
	seen   bool
	scans  Scans
	rule   string
	effect string
}

// row takes the worst over all looks: what is not seen counts before what is
// seen late. A look that reads as if nothing were wrong is left out where the
// fault does not hide anything.
func (v *verification) row(s *started, output int, known map[string]outcome, a, b *placed) FaultRow {
	row := FaultRow{Output: v.model.Names.Outputs[output], Fault: a.fault.Name, On: a.on, Seen: true}
	if b != nil {
		row.Second, row.SecondOn = b.fault.Name, b.on
	}
	for _, looks := range pairsOfLooks(a, b) {
		key := ""
		for _, x := range looks {
			key += x.on + " " + x.text + "|"
		}
		o, ok := known[key]
		if !ok {
			o = v.undergo(s, output, looks, nil)
			known[key] = o
		}
		if row.Rule == "" || row.Seen && (!o.seen || o.scans > row.Scans) {
			row.Seen, row.Scans, row.Rule, row.Effect = o.seen, o.scans, o.rule, o.effect
		}
	}
	if !row.Seen {
		row.Effect, row.Instead = "NOT detected: proof test", instead(a, b)
	}
	return row
}

// harmless: a fault that hides nothing and leaves the reading under the limit has
// done nothing yet; its other looks say what becomes of it.
func harmless(p *placed, x look) bool {
	return x.calm && !p.fault.Hides && p.fault.On == fault.OnChannel
}

// instead is what shows a fault that no rule sees.
func instead(a, b *placed) string {
	texts := []string{}
	for _, p := range [...]*placed{a, b} {
		if p != nil && p.fault.ShownBy != "" && !containsText(texts, p.fault.ShownBy) {
			texts = append(texts, p.fault.ShownBy)
		}
	}
	if len(texts) == 0 {
		return "function test of the real part"
	}
	return strings.Join(texts, "; ")
}

// pairsOfLooks lists how one fault, or two, can look. On the same channel a fault
// that hides overrides one that does not, because that is what hiding means.
func pairsOfLooks(a, b *placed) [][]look {
	var list [][]look
	for _, x := range a.looks {
		if harmless(a, x) && moreThanCalm(a) {
			continue
		}
		if b == nil {
			list = append(list, []look{x})
			continue
		}
		for _, y := range b.looks {
			if harmless(b, y) && moreThanCalm(b) {
				continue
			}
			pair := []look{x, y} // the later one has the last word
			if a.fault.Hides && !b.fault.Hides || a.gone && !b.fault.Hides {
				pair = []look{y, x}
			}
			list = append(list, pair)
		}
	}
	return list
}

// moreThanCalm says that a fault has looks other than harmless ones.
func moreThanCalm(p *placed) bool {
	for _, x := range p.looks {
		if !x.calm {
			return true
		}
	}
	return false
}

// undergo lets looks act on the running output: first while it runs, then while
// it is stopped by another cause and people try to start it again.
func (v *verification) undergo(s *started, output int, looks []look, record *recorder) outcome {
	d, _ := s.from()
	o := &v.model.Config.Outputs[output]
	turn := func() {
		for _, x := range looks {
			x.apply(d)
		}
		if record != nil {
			record.turn(d)
		} else {
			d.turn()
		}
	}
	limit := v.detectAll() + o.Travel + v.slowestInput() + 3
	for n := Scans(1); n <= limit; n++ {
		d.healthy()
		turn()
		if !d.enabled() {
			return outcome{true, n, v.ruleOf(d, output), d.state.Outputs[output].Mode.String()}
		}
	}
	if record != nil {
		return outcome{}
	}
	// It runs on: let overrun scans stop it, as any other trip would, for longer
	// than its actuator may take to report. (Whoever resets sooner asks for it
	// again before it is late.)
	for n := Scans(0); n <= o.Travel+2; n++ {
		d.healthy()
		d.in.Overrun = true
		turn()
		if u := d.state.Outputs[output].Unconfirmed; u != 0 {
			return outcome{true, n, "travel time: actuator unconfirmed", "latched when withheld, backup called"}
		}
	}
	for n := Scans(0); n < Scans(min(patienceOf(v.model.Config), 1<<16)) && !d.enabled(); n++ {
		d.healthy()
		turn()
	}
	if !d.enabled() {
		return outcome{true, o.Travel + 2, "start refused: " + v.ruleOf(d, output), "kept out after the next stop"}
	}
	return outcome{false, 0, "no rule", "runs on"}
}

// slowestInput is the longest that a signal may stay away unnoticed.
func (v *verification) slowestInput() Scans {
	most := Scans(0)
	for i := range v.model.Config.Inputs {
		most = max(most, v.model.Config.Inputs[i].StaleAfter)
	}
	return most
}

// ruleOf names what withholds an output now, and the channels behind it.
func (v *verification) ruleOf(d *driver, output int) string {
	var texts []string
	d.decision.Reasons[output].Each(func(text string) { texts = append(texts, text) })
	for _, ch := range v.channelsOf(output, -1) {
		if p := d.state.Channels[ch].Phase; !p.MayKeep() {
			texts = append(texts, v.model.Names.Channels[ch]+" "+p.String())
		}
	}
	return strings.Join(texts, ", ")
}

// defeat keeps the run of a pair that defeats the interlock.
func (v *verification) defeat(s *started, output int, a, b *placed) Defeat {
	var hidden []look
	for _, looks := range pairsOfLooks(a, b) {
		if o := v.undergo(s, output, looks, nil); !o.seen {
			hidden = looks
		}
	}
	record := s.record.copyOf()
	v.undergo(s, output, hidden, record)
	names := []string{a.name(), b.name()}
	sort.Strings(names)
	run := record.finish(fmt.Sprintf("%s: %s runs on", strings.Join(names, " with "), v.model.Names.Outputs[output]), 2)
	run.Property, run.Output = "fault table", v.model.Names.Outputs[output]
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", record.scans-s.record.scans-1, s.record.scans, run.Output)
	return Defeat{v.model.Names.Outputs[output], names, run}
}

// WriteCSV writes the whole table.
func (t *FaultTable) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"output", "fault", "on", "second", "second_on", "seen", "rule", "scans", "effect", "proof_test"}); err != nil {
		return err
	}
	for _, r := range t.Rows {
		err := out.Write([]string{r.Output, r.Fault, r.On, r.Second, r.SecondOn, strconv.FormatBool(r.Seen), r.Rule, strconv.FormatUint(uint64(r.Scans), 10), r.Effect, r.Instead})
		if err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
