package sim

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

var doWords = map[string]Act{
	"connect": Connect, "disconnect": Disconnect, "press": Press, "turn": Press, "hold": Hold, "release": Release,
	"set": Set, "restart": Restart, "overrun": Overrun,
}

var doList = []string{"connect", "disconnect", "press", "turn", "hold", "release", "set", "restart", "overrun"}

// step reads one step.
func (r *reader) step(n *site.Node, made *Scenario) {
	s := r.section(n, "{at: 1 s, do: press, on: reset_1, for: 0.5 s}")
	if s.bad {
		return
	}
	st := Step{At: s.mustMoment("at"), Place: n.At}
	r.begins(st.At)
	st.For = s.moment("for")
	before := len(r.problems)
	switch {
	case s.has("do"):
		r.doing(s, &st)
	case s.has("read"):
		r.forcing(s, &st)
	default:
		r.complain(n.At, "the step neither does nor reads anything", "write do: connect, press, … or read: high, 9.6 Ω, …")
	}
	s.done()
	if len(r.problems) == before {
		made.Steps = append(made.Steps, st)
	}
}

func (r *reader) doing(s *section, st *Step) {
	word, at := s.text("do")
	act, ok := doWords[word]
	if !ok {
		instead := "use one of " + strings.Join(doList, ", ")
		if meant := site.Nearest(word, doList); meant != "" {
			instead = "write " + meant
		}
		r.complain(at, fmt.Sprintf("nobody can %q", word), instead)
		return
	}
	st.Act = act
	switch act {
	case Connect:
		st.On = s.namesOf("on", aChannel)
		r.connecting(s, st)
	case Disconnect:
		st.On = s.namesOf("on", aChannel)
	case Press, Hold, Release:
		st.On = s.namesOf("on", anInput)
		r.refuse(st.For.Declared && act != Press, st.For.At, "only press and turn last for a time", "delete for")
		if act == Press && !st.For.Declared {
			st.For = Moment{Time: 500e6, Declared: true}
		}
	case Set:
		st.On = s.namesOf("on", anInput)
		to, at := s.must("to", "to: yes")
		st.To = yesNo(to)
		r.refuse(st.To == "" && to != "", at, fmt.Sprintf("%q is neither yes nor no", to), "write yes or no")
	case Restart, Overrun:
		r.refuse(st.For.Declared, st.For.At, "takes no time", "delete for; a longer one is a fault: power_dip or scan_overrun")
		return
	}
	r.refuse(len(st.On) == 0 && !s.has("on"), s.node.At, "the step names nothing", "write on: and a name")
}

func yesNo(text string) string {
	switch text {
	case "yes", "true", "on":
		return "yes"
	case "no", "false", "off":
		return "no"
	}
	return ""
}

func (r *reader) refuse(bad bool, at site.Position, text, instead string) {
	if bad {
		r.complain(at, text, instead)
	}
}

func (r *reader) connecting(s *section, st *Step) {
	to, at := s.text("to")
	switch to {
	case "":
		st.To = "part"
	case "part", "paint", "wrong object":
		st.To = to
	default:
		r.complain(at, fmt.Sprintf("%q is nothing to connect to", to), "write part, paint or wrong object")
	}
	if text, at := s.text("contact"); text != "" {
		st.Ohms, st.HasOhm = r.quantity(text, at, quantity.Resistance), true
	}
	r.refuse(st.For.Declared, st.For.At, "connect takes no time", "delete for")
}

// quantity reads one value; a complaint gives zero.
func (r *reader) quantity(text string, at site.Position, d quantity.Dimension) float64 {
	exact, wrong := quantity.Single(text, d)
	if wrong != nil {
		r.complain(at, wrong.Text, wrong.Instead)
		return 0
	}
	value, _ := exact.Float64()
	return value
}

// forcing reads a read: step, which says exactly what the logic gets.
func (r *reader) forcing(s *section, st *Step) {
	word, at := s.text("read")
	st.On = s.namesOf("on", aChannel, anInput)
	r.refuse(len(st.On) == 0 && !s.has("on"), s.node.At, "the step names nothing", "write on: and a channel or an input")
	for _, name := range st.On {
		if r.names.number[name].what == anInput {
			r.forceInput(word, at, st)
		} else {
			r.forceChannel(word, at, st)
			r.hasClass(name, word, at, st)
		}
	}
}

// hasClass complains of a class that this channel can never show.
func (r *reader) hasClass(name, word string, at site.Position, st *Step) {
	if st.Act != ReadClass {
		return
	}
	c := &r.names.site.Channels[r.names.number[name].i]
	never := st.Class == monitor.Between && c.Accept == c.Reject ||
		st.Class == monitor.High && c.Reject+1 >= c.OpenAbove ||
		st.Class == monitor.Open && c.OverRange != "open" && c.ValidMax > 0 && c.OpenAbove > c.ValidMax
	r.refuse(never, at, fmt.Sprintf("%s can never read %s", name, word), "choose a class that its limits leave room for")
}

func (r *reader) forceInput(word string, at site.Position, st *Step) {
	st.Act = ReadInput
	switch word {
	case "0":
		st.Signal = interlock.Low
	case "1":
		st.Signal = interlock.High
	case "unknown", "faulty":
		st.Signal = interlock.Faulty
	case "nothing", "missing":
		st.Signal = interlock.NoSignal
	case "plant":
		st.Act = ReadPlant
	default:
		r.complain(at, fmt.Sprintf("an input never reads %q", word), "write 0, 1, unknown, nothing or plant")
	}
}

func (r *reader) forceChannel(word string, at site.Position, st *Step) {
	switch word {
	case "plant":
		st.Act = ReadPlant
		return
	case "repeated":
		st.Act = ReadAgain
		return
	}
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		if class.String() == word {
			st.Act, st.Class = ReadClass, class
			return
		}
	}
	exact, wrong := quantity.Single(strings.TrimPrefix(word, "-"), quantity.Resistance)
	if wrong != nil {
		r.complain(at, fmt.Sprintf("a channel never reads %q", word), "write missing, invalid, open, high, between, good, repeated, plant, or a value such as 9.6 Ω")
		return
	}
	micro, ok := quantity.Int(exact, 1e6)
	if !ok || micro > 1e18 {
		r.complain(at, fmt.Sprintf("%q is too large or finer than 1 uΩ", word), "write a whole number of uΩ, at most 1 TΩ")
	}
	st.Act, st.Value = ReadValue, monitor.Microohm(micro)
	if strings.HasPrefix(word, "-") {
		st.Value = -st.Value
	}
}

// targets says which names a fault may act on.
var targets = map[fault.Target][]what{
	fault.OnChannel: {aChannel}, fault.OnInput: {anInput}, fault.OnOutput: {anOutput}, fault.OnBypass: {aBypass},
	fault.OnBus: {aChannel, anInput},
}

// fault reads one fault with its parameters.
func (r *reader) fault(n *site.Node, made *Scenario) {
	s := r.section(n, "{at: 10 s, fault: clamp_removed, on: bond_1, until: 14 s}")
	if s.bad {
		return
	}
	before := len(r.problems)
	f := Fault{At: s.mustMoment("at"), Until: s.moment("until"), Place: n.At}
	r.begins(f.At)
	name, at := s.must("fault", "fault: clamp_removed")
	f.Fault = fault.Named(name)
	if f.Fault == nil {
		if name != "" {
			r.unknownFault(name, at)
		}
		return
	}
	r.faultTarget(s, &f)
	for i, p := range f.Fault.Params {
		r.param(s, p, i, &f)
	}
	s.done()
	r.refuse(f.Until.Declared && f.Fault.Act && f.Fault.Name != "clamp_removed", f.Until.At, f.Fault.Name+" happens at a moment and does not end", "delete until")
	r.refuse(f.Until.Declared && f.Until.ceil(r.period) <= f.At.ceil(r.period), f.Until.At, "the fault ends before it begins", "write a later moment")
	if len(r.problems) == before {
		made.Faults = append(made.Faults, f)
	}
}

func (r *reader) unknownFault(name string, at site.Position) {
	instead := "use one of " + strings.Join(fault.Names(), ", ")
	if meant := site.Nearest(name, fault.Names()); meant != "" {
		instead = "write " + meant
	}
	r.complain(at, fmt.Sprintf("no fault is called %q", name), instead)
}

func (r *reader) faultTarget(s *section, f *Fault) {
	want := targets[f.Fault.On]
	if want == nil {
		r.refuse(s.has("on"), s.node.At, f.Fault.Name+" acts on the logic, not on a part", "delete on")
		return
	}
	f.On = s.namesOf("on", want...)
	if f.Fault.On == fault.OnBus && !s.has("on") {
		for _, name := range r.names.all {
			if w := r.names.number[name].what; w == aChannel || w == anInput {
				f.On = append(f.On, name)
			}
		}
		return
	}
	r.refuse(!s.has("on"), s.node.At, f.Fault.Name+" acts on a "+f.Fault.On.String(), "write on: and its name")
}

var dimensions = map[fault.Unit]quantity.Dimension{
	fault.Ohm: quantity.Resistance, fault.Second: quantity.Time, fault.Volt: quantity.Voltage, fault.Hertz: quantity.Frequency,
	fault.Celsius: quantity.Temperature, fault.PerMinute: quantity.Rotation, fault.Share: quantity.Ratio,
}

// param reads one parameter, or takes its default.
func (r *reader) param(s *section, p fault.Param, i int, f *Fault) {
	text, at := s.text(p.Name)
	if text == "" {
		if p.Default == "" && !s.has(p.Name) {
			r.complain(s.node.At, fmt.Sprintf("%s needs %s: %s", f.Fault.Name, p.Name, p.What), "write "+p.Name+": "+exampleOf(p))
			return
		}
		text = p.Default
	} else {
		f.Texts = append(f.Texts, p.Name+" "+text)
	}
	if p.Unit == fault.Word {
		for _, word := range p.Words {
			if word == text {
				f.Word = word
				return
			}
		}
		r.complain(at, fmt.Sprintf("%s is never %q", p.Name, text), "write "+strings.Join(p.Words, " or "))
		return
	}
	sign := 1.0
	if p.Unit == fault.Ohm && strings.HasPrefix(text, "-") { // an offset may be negative
		text, sign = text[1:], -1
	}
	f.Num[i] = sign * r.quantity(text, at, dimensions[p.Unit])
}

func exampleOf(p fault.Param) string {
	if p.Unit == fault.Word {
		return p.Words[0]
	}
	return dimensions[p.Unit].Example()
}
