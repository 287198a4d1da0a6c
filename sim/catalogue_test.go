package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// The catalogue says of every fault what it can show and what is true behind it, and
// the fault table of verify believes it. Here the physics is held against it, with
// random parameters at random moments: nothing may show that an entry does not know.

// drawn is a random value of a parameter as a scenario writes it: over the decades
// that occur between a milliohm and an insulator, a scan and half a minute.
// What is said to hide nothing adds no more than reject.
func drawn(r *rand.Rand, f *fault.Fault, p fault.Param, reject monitor.Microohm) string {
	decades := func(low, high float64) float64 { return math.Pow(10, low+(high-low)*r.Float64()) }
	switch p.Unit {
	case fault.Ohm:
		sign := ""
		if f.Name == "drift" && r.IntN(2) == 0 {
			sign = "-"
		}
		if said := fault.Named(f.Name); said.Bond == fault.BondStays && said.Hides == fault.HidesNothing {
			return fmt.Sprintf("%.4f Ω", decades(-3, math.Log10(ohmsOf(reject))))
		}
		return fmt.Sprintf("%s%.4f Ω", sign, decades(-3, 10))
	case fault.Second:
		return fmt.Sprintf("%.3f s", decades(-2, []float64{-0.7, 1.5}[r.IntN(2)]))
	case fault.Volt:
		return fmt.Sprintf("%.6f V", decades(-3, 1.5))
	case fault.Hertz:
		return fmt.Sprintf("%.3f Hz", []float64{50, 60, 400 * r.Float64()}[r.IntN(3)])
	case fault.Celsius:
		return fmt.Sprintf("%.1f °C", -40+160*r.Float64())
	case fault.PerMinute:
		return fmt.Sprintf("%.1f /min", []float64{3000, 1500, 1 + 6000*r.Float64()}[r.IntN(3)])
	case fault.Share:
		return fmt.Sprintf("%.1f %%", []float64{100, 100 * r.Float64(), 50 + 40*r.Float64()}[r.IntN(3)])
	}
	return p.Words[r.IntN(len(p.Words))]
}

// faultText is a fault with random parameters as a line of a scenario.
func faultText(r *rand.Rand, f *fault.Fault, on, at string, reject monitor.Microohm) string {
	text := fmt.Sprintf("{at: %s, fault: %s", at, f.Name)
	if on != "" {
		text += ", on: " + on
	}
	for _, p := range f.Params {
		text += ", " + p.Name + ": " + drawn(r, f, p, reject)
	}
	return text + "}"
}

// lab is one channel on which faults are tried.
type lab struct {
	t     require.TestingT
	site  *site.Site
	logic *interlock.Config
	i     int
	rand  *rand.Rand
	quick bool // the instrument follows at once
}

// sample is one scan of the channel.
type sample struct {
	reading monitor.Reading
	news    monitor.Class
	held    monitor.Class // in effect, a gap within stale-after filled
	real    float64
}

const (
	labScans = 700
	windowIn = 3.0 // seconds in which a good reading and a part that floats are no accident
)

// play runs a scenario without the instrument's own noise, which is no fault.
func (l *lab) play(text string) ([]sample, []interlock.Signal) {
	sc, problems := ParseScenario("lab.yaml", []byte(text), l.site)
	require.Nil(l.t, problems, "%s\n%v", text, problems)
	p, _, _ := Prepare(l.site, l.logic, sc, 5)
	p.end = labScans
	c := &p.channels[l.i]
	c.spread = 0
	if l.quick {
		c.slowness = 1
	}
	c.settle(0)
	state, list := monitor.State{}, make([]sample, labScans)
	for scan := range list {
		if p.next < len(p.agenda) && p.agenda[p.next].scan <= uint64(scan) {
			p.happen(uint64(scan))
		}
		reading := c.read(uint64(scan))
		news := monitor.Hear(c.logic, &state, reading)
		state.Step(c.logic, reading)
		list[scan] = sample{reading, news, state.Class, c.real}
	}
	p.listen(labScans)
	return list, p.signals
}

// script is a random life of the clamp: on the part, well or badly, off, elsewhere.
func (l *lab) script(moves int) string {
	name := l.site.Channels[l.i].Name
	lines := []string{fmt.Sprintf("{at: 0 s, do: connect, on: %s%s}", name, l.contact())}
	for range moves {
		at := float64(labScans) * l.site.Period.Max.Seconds() * l.rand.Float64()
		if l.rand.IntN(4) == 0 {
			lines = append(lines, fmt.Sprintf("{at: %.2f s, do: disconnect, on: %s}", at, name))
		} else {
			lines = append(lines, fmt.Sprintf("{at: %.2f s, do: connect, on: %s%s}", at, name, l.contact()))
		}
	}
	return "\n  - " + strings.Join(lines, "\n  - ")
}

// contact is a resistance between jaws and part as a step has it: as good as the site
// has it, anything, or so near to a limit that the lead's own resistance counts.
func (l *lab) contact() string {
	f, ohms := &l.site.Channels[l.i], math.Pow(10, -3+13*l.rand.Float64())
	switch lead := leadAt20(&f.Leads); l.rand.IntN(3) {
	case 0:
		return ""
	case 1:
		limit := []monitor.Microohm{f.Floor, f.Accept, f.Reject}[l.rand.IntN(3)]
		ohms = math.Max(0, ohmsOf(limit)-lead*(0.7+0.6*l.rand.Float64()))
	}
	return fmt.Sprintf(", contact: %.4f Ω", ohms)
}

// tried counts what the tries of a fault have shown, so that none shows nothing.
type tried struct{ disturbed, hidden, floated int }

// try plays a fault once and holds what it shows against its entry.
func (l *lab) try(f *fault.Fault, count *tried) {
	c := newChannel(l.site, l.i, &l.logic.Channels[l.i].Config, l.site.Period.Max.Seconds(), 5)
	moves := 5 * l.rand.IntN(2)
	l.quick = l.rand.IntN(2) == 0
	begun := 50 + l.rand.IntN(labScans/3)
	head := "scenario: lab\nlasts: 60 s\nsteps:" + l.script(moves) + "\n"
	line := faultText(l.rand, f, c.name, fmt.Sprintf("%.3f s", float64(begun)*c.seconds), c.logic.Reject)
	say := fmt.Sprintf("%s with\n%s  - %s", c.name, head, line)
	plain, inputs := l.play(head)
	with, moved := l.play(head + "faults:\n  - " + line + "\n")
	require.Equal(l.t, inputs, moved, "a fault on a channel moves an input\n%s", say)
	if l.quick || c.slowness == 1 { // a slow one passes through what lies between
		c.slowness = 1
		l.holdClasses(f, &c, plain, with, begun, say, count)
		if f.Course == fault.Steady && moves == 0 {
			l.holdCourse(plain, with, begun, say)
		}
	}
	l.holdTruth(f, &c, plain, with, begun, say, count)
}

// holdClasses: what is read lies in what the entry makes of what would be read, or of
// what was read before where an old measurement comes again; and not above its limit.
func (l *lab) holdClasses(f *fault.Fault, c *channel, plain, with []sample, begun int, say string, count *tried) {
	var before, may [monitor.Classes]bool
	for scan := range with {
		without, got := plain[scan].news, with[scan]
		if scan < begun {
			require.Equal(l.t, plain[scan].reading, got.reading, "scan %d: before it begins\n%s", scan, say)
		}
		if !before[without] {
			before[without] = true
			for class, can := range f.Makes(without, c.logic) {
				may[class] = may[class] || can && f.Sees.Readings&fault.ComesAgain != 0
			}
		}
		if scan < begun || got.news == without {
			continue
		}
		count.disturbed++
		require.True(l.t, may[got.news] || without != monitor.Missing && f.Makes(without, c.logic)[got.news],
			"scan %d reads %s (%+v) instead of %s, which the catalogue does not know of\n%s", scan, got.news, got.reading, without, say)
		if p, limited := f.Param(f.AtMost); limited && got.reading.Quality == monitor.Valid {
			require.LessOrEqual(l.t, float64(got.reading.Value), l.value(line(say), p)*1e6*(1+1e-6)+float64(c.half)+1, "scan %d is above its limit\n%s", scan, say)
		}
	}
}

func line(say string) string { return say[strings.LastIndexByte(say, '\n')+1:] }

// value is a parameter as the line of a scenario has it.
func (l *lab) value(text string, p fault.Param) (v float64) {
	_, text, found := strings.Cut(text, p.Name+": ")
	require.True(l.t, found)
	_, err := fmt.Sscanf(text, "%f", &v)
	require.NoError(l.t, err)
	return v
}

// holdTruth: where the entry says that the bond stays, it does; a part that floats for
// most of a while reads bad in it at least once, unless the fault hides that.
func (l *lab) holdTruth(f *fault.Fault, c *channel, plain, with []sample, begun int, say string, count *tried) {
	floats := func(s *sample) bool { return s.real > c.earthLimit() }
	hides := f.HidesOn(fault.Channel{EarthPath: c.earthPath, Slow: c.slowness < 1, Stamped: c.logic.Stamped})
	window := int(windowIn / c.seconds)
	for from := begun; from+window <= len(with); from += window / 4 {
		var gone, plainGone, bad, plainBad, low int
		for scan := from; scan < from+window; scan++ {
			gone, plainGone = gone+b2i(floats(&with[scan])), plainGone+b2i(floats(&plain[scan]))
			bad, plainBad = bad+b2i(with[scan].held < monitor.Between), plainBad+b2i(plain[scan].held < monitor.Between)
			low += b2i(with[scan].held == monitor.Invalid && with[scan].reading.Quality == monitor.Valid)
		}
		count.floated += b2i(gone > plainGone)
		if f.Bond == fault.BondStays {
			require.LessOrEqual(l.t, gone, plainGone, "from scan %d the part floats, and the catalogue says that the bond stays\n%s", from, say)
		}
		if f.Bond == fault.BondAsRead && c.logic.OverRangeIsOpen && plainGone == 0 {
			require.False(l.t, gone == window && low == window, "from scan %d the part floats and reads invalid, and the catalogue says that it reads high, open or nothing\n%s", from, say)
		}
		if 2*gone > window && bad == 0 && (plainBad > 0 || plainGone == 0) {
			count.hidden++
			require.True(l.t, hides, "from scan %d the part floats and reads good, and the catalogue does not know that this hides it\n%s", from, say)
		}
	}
}

// holdCourse: what is steady never comes back to what it has left.
func (l *lab) holdCourse(plain, with []sample, begun int, say string) {
	var left [monitor.Classes]bool
	now := monitor.Class(monitor.Classes)
	for scan := begun; scan < len(with); scan++ {
		if plain[scan].news == monitor.Missing { // not its turn on the bus
			continue
		}
		if class := with[scan].news; class != now {
			require.False(l.t, left[class], "scan %d is back at %s: that comes and goes, and the catalogue says that it is steady\n%s", scan, class, say)
			if now < monitor.Classes {
				left[now] = true
			}
			now = class
		}
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// labs are channels of every kind: metal and dissipative, clamp loop and earth path,
// quick and slow, with the device's stamps and without.
func labs(t *testing.T) (list []*lab) {
	t.Helper()
	for seed, where := range []struct{ site, channel string }{
		{"kestrel_siding", "bond_1"}, {"amber_line", "bond_bag"}, {"amber_line", "bond_ibc"}, {"hazel_works", "bond_cage"},
		{"margin/nothing_known", "bond"}, {"margin/nothing_known", "bond_powder"},
	} {
		s := readSite(t, where.site)
		logic, problems := s.Logic()
		require.Nil(t, problems)
		l := &lab{t: t, site: s, logic: logic, i: s.ChannelIndex(where.channel), rand: rand.New(rand.NewPCG(uint64(seed), 21))}
		require.GreaterOrEqual(t, l.i, 0)
		list = append(list, l)
	}
	return list
}

// rarelyHides needs an error of just the right size, and a voltage in step with the
// scan.
var rarelyHides = map[string]bool{"mains_pickup": true, "stray_dc": true, "drift": true}

func TestPhysicsStaysWithinTheCatalogue(t *testing.T) {
	t.Parallel()
	list := labs(t)
	for _, f := range fault.All() {
		if f.On != fault.OnChannel {
			continue
		}
		var n tried
		for _, l := range list {
			for range 15 {
				l.try(f, &n)
			}
		}
		said := func() bool {
			return n.disturbed > 0 && (f.Hides == fault.HidesNothing || n.hidden > 0 || rarelyHides[f.Name]) && (f.Bond == fault.BondStays || n.floated > 0)
		}
		rare := list[1] // a mean of quick changes is only a slow instrument's
		if f.Hides == fault.HidesUnstamped {
			rare = list[4]
		}
		for more := 0; !said() && more < 2000; more++ {
			rare.try(f, &n)
		}
		require.True(t, said(), "%s is said to do more than it ever did: %+v", f.Name, n)
	}
}

// complaint takes what a test says instead of failing.
type complaint struct{ text string }

func (c *complaint) Errorf(format string, args ...any) { c.text = fmt.Sprintf(format, args...) }
func (c *complaint) FailNow()                          { panic(c) }

// complains is what a lab says of an entry; empty if nothing.
func (l *lab) complains(f *fault.Fault) (text string) {
	said, real := &complaint{}, l.t
	l.t = said
	defer func() {
		l.t, text = real, said.text
		if why := recover(); why != nil && why != any(said) {
			panic(why)
		}
	}()
	for range 60 {
		l.try(f, &tried{})
	}
	return ""
}

// An entry that says less than the physics does is found, whichever of its fields it is.
func TestPhysicsFindsAnEntryThatSaysTooLittle(t *testing.T) {
	t.Parallel()
	list := labs(t)
	for _, x := range []struct {
		fault string
		wrong func(f *fault.Fault)
		says  string
	}{
		{"chatter", func(f *fault.Fault) { f.Course = fault.Steady }, "that comes and goes, and the catalogue says that it is steady"},
		{"mains_pickup", func(f *fault.Fault) { f.Course = fault.Steady }, "that comes and goes, and the catalogue says that it is steady"},
		{"clamp_on_paint", func(f *fault.Fault) { f.Bond = fault.BondStays }, "the part floats, and the catalogue says that the bond stays"},
		{"clamp_on_wrong_object", func(f *fault.Fault) { f.Hides = fault.HidesNothing }, "the catalogue does not know that this hides it"},
		{"shorted_leads", func(f *fault.Fault) { f.Hides = fault.HidesUnstamped }, "the catalogue does not know that this hides it"},
		{"strap_left_out", func(f *fault.Fault) { f.Hides = fault.HidesNothing }, "the catalogue does not know that this hides it"},
		{"leak_path", func(f *fault.Fault) { f.Way = fault.Higher }, "which the catalogue does not know of"},
		{"corrosion", func(f *fault.Fault) { f.Way = fault.Lower }, "which the catalogue does not know of"},
		{"corrosion", func(f *fault.Fault) { f.Sees.Readings &^= fault.ReadsHigh }, "which the catalogue does not know of"},
		{"bad_quality", func(f *fault.Fault) { f.Sees.Readings = fault.ReadsHigh }, "which the catalogue does not know of"},
		{"lost_samples", func(f *fault.Fault) { f.Sees.Readings = fault.AsBefore }, "which the catalogue does not know of"},
		{"shorted_leads", func(f *fault.Fault) { f.AtMost = "short" }, "is above its limit"},
	} {
		wrong := *fault.Named(x.fault)
		x.wrong(&wrong)
		var said []string
		for _, l := range list {
			said = append(said, l.complains(&wrong))
		}
		require.Contains(t, strings.Join(said, "\n"), x.says, "%s", x.fault)
	}
}

// shown is what a fault may let an input show, on the wire.
func shown(f *fault.Fault, in *input, plain interlock.Signal) map[interlock.Signal]bool {
	made, open := interlock.High, interlock.Low
	if in.inverted {
		made, open = open, made
	}
	may := map[interlock.Signal]bool{}
	for member, signal := range map[fault.Signals]interlock.Signal{
		fault.SignalAsBefore: plain, fault.SignalLow: interlock.Low, fault.SignalHigh: interlock.High, fault.SignalFaulty: interlock.Faulty,
		fault.NoSignal: interlock.NoSignal, fault.ContactMade: made, fault.ContactOpen: open,
	} {
		if f.Sees.Signals&member != 0 {
			may[signal] = true
		}
	}
	return may
}

// listened is what all inputs show over a scenario while coils and buttons move.
func listened(t *testing.T, s *site.Site, logic *interlock.Config, text string) (p *Plant, list [][]interlock.Signal) {
	t.Helper()
	sc, problems := ParseScenario("lab.yaml", []byte(text), s)
	require.Nil(t, problems, "%s\n%v", text, problems)
	p, _, _ = Prepare(s, logic, sc, 5)
	p.end = labScans
	for scan := range uint64(labScans) {
		var coils interlock.CoilSet
		if scan/230%2 == 1 {
			coils = 1<<len(s.Outputs) - 1
		}
		if p.next < len(p.agenda) && p.agenda[p.next].scan <= scan {
			p.happen(scan)
		}
		if p.busy || coils != p.coils {
			p.move(scan, coils)
		}
		p.listen(scan)
		list = append(list, append([]interlock.Signal(nil), p.signals...))
	}
	return p, list
}

func TestInputsStayWithinTheCatalogue(t *testing.T) {
	t.Parallel()
	s := readSite(t, "kestrel_siding")
	logic, problems := s.Logic()
	require.Nil(t, problems)
	r := rand.New(rand.NewPCG(7, 7))
	for _, f := range fault.All() {
		disturbed := 0
		for _, name := range map[fault.Target][]string{fault.OnInput: {"reset_1", "stop_pump", "valve_1_closed", "car_here_1"}, fault.OnBypass: {"bypass_6"}}[f.On] {
			if button := s.Inputs[max(0, s.InputIndex(name))].Use == "button"; f.Fits == fault.Buttons && !button || f.Fits == fault.EndSwitches && name != "valve_1_closed" {
				continue
			}
			i := s.InputIndex(name)
			if f.On == fault.OnBypass {
				i = s.InputIndex(s.Bypasses[0].Input)
			}
			for range 10 {
				head := "scenario: lab\nlasts: 60 s\nsteps:\n  - {at: 1 s, do: set, on: car_here_1, to: yes}\n"
				for _, at := range []float64{2, 4, 6, 8} {
					head += fmt.Sprintf("  - {at: %.2f s, do: press, on: reset_1, for: %.2f s}\n", at+r.Float64(), 0.02+r.Float64())
				}
				begun := r.IntN(labScans / 2)
				line := faultText(r, f, name, fmt.Sprintf("%.2f s", float64(begun)*s.Period.Max.Seconds()), 0)
				_, plain := listened(t, s, logic, head)
				p, with := listened(t, s, logic, head+"faults:\n  - "+line+"\n")
				for scan := range with {
					for k := range with[scan] {
						if (k != i || scan < begun) && plain[scan][k] != with[scan][k] {
							require.Fail(t, "moves another input", "scan %d: %s moves %s", scan, line, s.Inputs[k].Name)
						}
					}
					if scan < begun {
						continue
					}
					disturbed += b2i(with[scan][i] != plain[scan][i])
					require.True(t, shown(f, &p.inputs[i], plain[scan][i])[with[scan][i]],
						"scan %d: %s shows %d instead of %d, which the catalogue does not know of", scan, line, with[scan][i], plain[scan][i])
					if f.Course == fault.Steady {
						require.Equal(t, with[begun][i], with[scan][i], "scan %d: %s is not steady", scan, line)
					}
				}
			}
		}
		require.True(t, disturbed > 0 || f.On != fault.OnInput && f.On != fault.OnBypass, "%s never showed anything", f.Name)
	}
}

// An actuator that does not follow in time does what its fault says.
func TestActuatorsStayWithinTheCatalogue(t *testing.T) {
	t.Parallel()
	s := readSite(t, "kestrel_siding")
	r := rand.New(rand.NewPCG(8, 8))
	for _, f := range fault.All() {
		if f.On != fault.OnOutput {
			continue
		}
		var did fault.Actuator
		for range 50 {
			a := newActuator(s, 0, s.Period.Max.Seconds())
			stroke := int(a.whole/a.seconds) + int(a.lag) + 3
			acting := &acting{fault: f}
			for i, p := range f.Params {
				_, err := fmt.Sscanf(drawn(r, f, p, 0), "%f", &acting.num[i])
				require.NoError(t, err)
			}
			begun, since, coil, scan := 1+r.IntN(7*stroke), 0, false, 0
			for ; scan < 20*stroke; scan++ {
				if want := scan/(5*stroke)%2 == 1; want != coil {
					coil, since = want, scan
				}
				if scan == begun {
					a.suffer(acting, 1)
				}
				a.step(uint64(scan), coil)
				var does fault.Actuator
				switch {
				case scan-since <= 2*stroke || scan < begun+stroke:
				case !coil && a.opened():
					does = fault.StaysOpen
				case coil && a.closed():
					does = fault.StaysShut
				case !a.opened() && !a.closed():
					does = fault.StaysBetween
				}
				if f.Sees.Actuator&fault.MovesLate != 0 { // it gets there
					did |= fault.MovesLate * fault.Actuator(b2i(does != 0))
					continue
				}
				if does&^f.Sees.Actuator != 0 {
					require.Fail(t, "not in the catalogue", "%s, scan %d of a stroke of %d: does %d", f.Name, scan, stroke, does)
				}
				did |= does
			}
		}
		require.Equal(t, f.Sees.Actuator, did, "%s is said to do more than it ever did", f.Name)
	}
}
