package sim

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// view is what conditions are read from: one scan of the logic and the plant.
type view struct {
	*loop.Turn
	plant *Plant
}

// condition is something that can be true of one scan.
type condition struct {
	text  string
	event bool // true only in the scan in which it happens
	holds func(v *view) bool
}

// names finds the parts of a site by name.
type names struct {
	site   *site.Site
	number map[string]place
	all    []string
}

// place is what a name stands for, and its number.
type place struct {
	what what
	i    int
}

type what uint8

const (
	aChannel what = iota
	anInput
	anOutput
	aVessel
	aStream
	aBypass
	whatKinds = iota
)

var whatNames = [whatKinds]string{"channel", "input", "output", "vessel", "stream", "bypass"}

func newNames(s *site.Site) *names {
	n := &names{site: s, number: map[string]place{}}
	add := func(name string, w what, i int) {
		n.number[name] = place{w, i}
		n.all = append(n.all, name)
	}
	for i := range s.Channels {
		add(s.Channels[i].Name, aChannel, i)
	}
	for i := range s.Inputs {
		add(s.Inputs[i].Name, anInput, i)
	}
	for i := range s.Outputs {
		add(s.Outputs[i].Name, anOutput, i)
	}
	for i := range s.Vessels {
		add(s.Vessels[i].Name, aVessel, i)
	}
	for i := range s.Streams {
		add(s.Streams[i].Name, aStream, i)
	}
	for i := range s.Bypasses {
		add(s.Bypasses[i].Name, aBypass, i)
	}
	return n
}

// test is one state of a kind of thing.
type test struct {
	word  string
	holds func(v *view, i int) bool
}

func phaseTests() []test {
	var list []test
	for p := monitor.Phase(0); p < monitor.Phases; p++ {
		list = append(list, test{p.String(), func(v *view, i int) bool { return v.State.Channels[i].Phase == p }})
	}
	return append(list,
		test{"fit to start", func(v *view, i int) bool { return v.State.Channels[i].Phase.MayStart() }},
		test{"fit to keep", func(v *view, i int) bool { return v.State.Channels[i].Phase.MayKeep() }},
		test{"earthed", func(v *view, i int) bool { c := &v.plant.channels[i]; return c.real <= c.earthLimit() }},
	)
}

func inputTests() []test {
	level := func(t interlock.Truth) func(v *view, i int) bool {
		return func(v *view, i int) bool { return v.State.Inputs[i].Level == t }
	}
	return []test{
		{"on", level(interlock.True)}, {"off", level(interlock.False)}, {"unknown", level(interlock.Unknown)},
		{"true", level(interlock.True)}, {"false", level(interlock.False)},
	}
}

func outputTests() []test {
	var list []test
	for m := interlock.Mode(0); m < interlock.Modes; m++ {
		list = append(list, test{m.String(), func(v *view, i int) bool { return v.State.Outputs[i].Mode == m }})
	}
	return append(list,
		test{"withheld", func(v *view, i int) bool { return v.State.Outputs[i].Mode != interlock.Enabled }},
		test{"unconfirmed", func(v *view, i int) bool { return v.State.Outputs[i].Unconfirmed != 0 }},
		test{"stopped", func(v *view, i int) bool { return v.plant.actuators[i].closed() }},
		test{"energised", func(v *view, i int) bool { return v.Decision.Coils.Energised(i) }},
	)
}

func vesselTests() []test {
	return []test{
		{"clear", func(v *view, i int) bool { return v.State.Vessels[i].Clear }},
		{"charged", func(v *view, i int) bool { return !v.State.Vessels[i].Clear }},
		{"waiting", func(v *view, i int) bool { return !v.State.Vessels[i].Clear && v.State.Vessels[i].Waited > 0 }},
		{tell.Early.String(), func(v *view, i int) bool { return v.State.Vessels[i].Early }},
	}
}

func streamTests() []test {
	return []test{
		{"flowing", func(v *view, i int) bool { return v.plant.streams[i].flowing }},
		{"stopped", func(v *view, i int) bool { return !v.plant.streams[i].flowing }},
		{"still", func(v *view, i int) bool { return v.State.Streams[i].Still(&v.plant.Logic.Streams[i]) }},
	}
}

func bypassTests() []test {
	return []test{
		{"active", func(v *view, i int) bool { return v.State.Bypasses[i].Active > 0 }},
		{"off", func(v *view, i int) bool { return v.State.Bypasses[i].Active == 0 }},
	}
}

var tests = [whatKinds][]test{phaseTests(), inputTests(), outputTests(), vesselTests(), streamTests(), bypassTests()}

// kindSubject is what an event of a kind is about; whatKinds: the whole logic.
func kindSubject(k interlock.Kind) what {
	switch tell.About(k) {
	case tell.OfChannel:
		return aChannel
	case tell.OfVessel:
		return aVessel
	case tell.OfOutput:
		return anOutput
	case tell.OfBypass:
		return aBypass
	}
	return whatKinds
}

// condition reads "valve_1 is tripped", "bond_1 reads open", "car_1 is not
// clear", "valve_1 is withheld for wait" or an event such as "wait over car_1".
// because narrows an event to those that have such a reason.
func (n *names) condition(text string, why *because) (condition, string, string) {
	words := strings.Fields(text)
	if len(words) == 0 {
		return condition{}, "the condition is empty", "write one, such as \"valve_1 is tripped\""
	}
	if c, ok := n.event(words, why); ok {
		return c, "", ""
	}
	subject, ok := n.number[words[0]]
	if !ok && text == watchdogKicked {
		return condition{text: text, holds: func(v *view) bool { return v.Decision.Kick }}, "", ""
	}
	if !ok {
		return n.unknown(text, words)
	}
	if why != nil {
		return condition{}, fmt.Sprintf("%q is no event, and because belongs to events", text), "delete because, or name an event"
	}
	if len(words) < 3 || words[1] != "is" && words[1] != "reads" {
		return condition{}, fmt.Sprintf("%q can not be read", text), fmt.Sprintf("write \"%s is …\"", words[0])
	}
	if words[1] == "reads" {
		return n.reads(text, subject, words[2:])
	}
	return n.is(text, subject, words[2:])
}

// watchdogKicked is a condition of the whole logic, unless a part is called so.
const watchdogKicked = "watchdog is kicked"

// unknown explains a condition whose first word names nothing.
func (n *names) unknown(text string, words []string) (condition, string, string) {
	if meant := site.Nearest(words[0], n.all); meant != "" {
		return condition{}, fmt.Sprintf("nothing is called %q", words[0]), "write " + meant
	}
	last := words[len(words)-1]
	if _, ok := n.number[last]; ok {
		return condition{}, fmt.Sprintf("%q is no event of %s", strings.Join(words[:len(words)-1], " "), last), "use one of " + strings.Join(kindList(n.number[last].what), ", ")
	}
	return condition{}, fmt.Sprintf("%q names nothing of this site", text), "begin with a name, as in \"valve_1 is tripped\", or with an event, as in \"wait over car_1\""
}

func kindList(w what) []string {
	var list []string
	for k := interlock.NoEvent + 1; k < interlock.Kinds; k++ {
		if k != interlock.PhaseChanged && kindSubject(k) == w {
			list = append(list, k.String())
		}
	}
	return list
}

// event reads "KIND SUBJECT", or "KIND" for what concerns the whole logic.
func (n *names) event(words []string, why *because) (condition, bool) {
	for k := interlock.NoEvent + 1; k < interlock.Kinds; k++ {
		kind := strings.Fields(k.String())
		if k == interlock.PhaseChanged || !startsWith(words, kind) {
			continue
		}
		subject, ok := n.eventSubject(kindSubject(k), words[len(kind):])
		if !ok {
			continue
		}
		return condition{text: strings.Join(words, " "), event: true, holds: func(v *view) bool {
			for i := range v.Decision.Events {
				if v.plant.off > 0 { // nobody is there to decide
					return false
				}
				e := &v.Decision.Events[i]
				if e.Kind == k && e.Subject == subject && why.holds(v, e) {
					return true
				}
			}
			return false
		}}, true
	}
	return condition{}, false
}

// eventSubject is the number of what an event is about, from the words after
// its kind.
func (n *names) eventSubject(w what, rest []string) (int, bool) {
	if w == whatKinds {
		return 0, len(rest) == 0
	}
	if len(rest) != 1 {
		return 0, false
	}
	p, ok := n.number[rest[0]]
	return p.i, ok && p.what == w
}

func startsWith(words, prefix []string) bool {
	if len(words) < len(prefix) {
		return false
	}
	for i := range prefix {
		if words[i] != prefix[i] {
			return false
		}
	}
	return true
}

// reads is the class in effect of a channel.
func (n *names) reads(text string, subject place, words []string) (condition, string, string) {
	if subject.what != aChannel {
		return condition{}, fmt.Sprintf("%q: only a channel reads something", text), "write \"is\""
	}
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		if strings.Join(words, " ") == class.String() {
			i := subject.i
			return condition{text: text, holds: func(v *view) bool { return v.State.Channels[i].Class == class }}, "", ""
		}
	}
	return condition{}, fmt.Sprintf("%q is no class of reading", strings.Join(words, " ")), "use missing, invalid, open, high, between or good"
}

// is reads the state of a thing, possibly negated.
func (n *names) is(text string, subject place, words []string) (condition, string, string) {
	not := words[0] == "not"
	if not {
		words = words[1:]
	}
	state := strings.Join(words, " ")
	i := subject.i
	if subject.what == anOutput && strings.HasPrefix(state, "withheld for ") {
		return reasonCondition(text, i, not, strings.TrimPrefix(state, "withheld for "))
	}
	var list []string
	for _, t := range tests[subject.what] {
		if t.word == state {
			holds := t.holds
			return condition{text: text, holds: func(v *view) bool { return holds(v, i) != not }}, "", ""
		}
		list = append(list, t.word)
	}
	instead := "use one of " + strings.Join(list, ", ")
	if meant := site.Nearest(state, list); meant != "" {
		instead = "write " + meant
	}
	return condition{}, fmt.Sprintf("a %s is never %q", whatNames[subject.what], state), instead
}

// reasonWords are short names for what withholds an output.
var reasonWords = map[string]interlock.Reasons{
	"power-up": interlock.ReasonPowerUp, "overrun": interlock.ReasonOverrun, "not met": interlock.ReasonNotMet,
	"unknown": interlock.ReasonUnknown, "delay": interlock.ReasonDelay, "wait": interlock.ReasonWait,
	"early": interlock.ReasonEarly, "unconfirmed": interlock.ReasonUnconfirmed, "moving": interlock.ReasonMoving, "backup": interlock.ReasonBackup,
	"stop": interlock.ReasonStop, "reset": interlock.ReasonReset, "start": interlock.ReasonStart,
}

func reasonCondition(text string, i int, not bool, word string) (condition, string, string) {
	reason, ok := reasonWords[word]
	if !ok {
		return condition{}, fmt.Sprintf("%q is no reason", word), "use power-up, overrun, not met, unknown, delay, wait, early, unconfirmed, moving, backup, stop, reset or start"
	}
	return condition{text: text, holds: func(v *view) bool {
		return (v.State.Outputs[i].Mode != interlock.Enabled && v.Decision.Reasons[i]&reason != 0) != not
	}}, "", ""
}

// all reports whether every condition of a list holds.
func all(list []condition, v *view) bool {
	for i := range list {
		if !list[i].holds(v) {
			return false
		}
	}
	return true
}

// textOf is a list of conditions for people.
func textOf(list []condition) string {
	texts := make([]string, len(list))
	for i := range list {
		texts[i] = list[i].text
	}
	return strings.Join(texts, " and ")
}
