package coverage

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
)

// draft is a scenario before it is text.
type draft struct {
	about             []string // comments at its head
	name, site, title string
	lasts             time.Duration
	steps, faults     []line
	expect            []string
}

// line is one step, or one fault: when, and the rest of it.
type line struct {
	at   time.Duration
	says string
}

func (d *draft) step(at time.Duration, format string, args ...any) {
	d.steps = append(d.steps, line{at, fmt.Sprintf(format, args...)})
}

// evidence gives all of it.
func (d *draft) evidence(s *site.Site, at time.Duration) {
	for i := range s.Inputs {
		if s.Inputs[i].Use == "evidence" {
			d.step(at, "do: set, on: %s, to: yes", s.Inputs[i].Name)
		}
	}
}

// connect puts every clamp on.
func (d *draft) connect(s *site.Site, at time.Duration) {
	for i := range s.Channels {
		d.step(at, "do: connect, on: %s", s.Channels[i].Name)
	}
}

// fault is one of the catalogue with its defaults, and with an example where it has
// none.
func (d *draft) fault(name, on string, at time.Duration) {
	one := fault.Named(name)
	if one == nil {
		return
	}
	says := "fault: " + name
	if one.On != fault.OnLogic && one.On != fault.OnBus {
		says += ", on: " + on
	}
	for _, p := range one.Params {
		if p.Default == "" && p.Unit == fault.Word {
			says += fmt.Sprintf(", %s: %s", p.Name, p.Words[0])
		} else if p.Default == "" {
			says += fmt.Sprintf(", %s: %s", p.Name, exampleUnits[p.Unit].Example())
		}
	}
	d.faults = append(d.faults, line{at, says})
}

var exampleUnits = map[fault.Unit]quantity.Dimension{
	fault.Ohm: quantity.Resistance, fault.Second: quantity.Time, fault.Volt: quantity.Voltage, fault.Hertz: quantity.Frequency,
	fault.Celsius: quantity.Temperature, fault.PerMinute: quantity.Rotation, fault.Share: quantity.Ratio,
}

// text is the draft as a scenario file.
func (d *draft) text() []byte {
	var b strings.Builder
	for _, text := range d.about {
		fmt.Fprintf(&b, "# %s\n", text)
	}
	fmt.Fprintf(&b, "scenario: %s\n", d.name)
	if d.site != "" {
		fmt.Fprintf(&b, "site: %s\n", d.site)
	}
	if d.title != "" {
		fmt.Fprintf(&b, "title: %q\n", d.title)
	}
	fmt.Fprintf(&b, "lasts: %s\n", quantity.Duration(d.lasts))
	for _, part := range []struct {
		name  string
		lines []line
	}{{"steps", d.steps}, {"faults", d.faults}} {
		if len(part.lines) == 0 {
			continue
		}
		fmt.Fprintf(&b, "\n%s:\n", part.name)
		for _, one := range part.lines {
			fmt.Fprintf(&b, "  - {at: %s, %s}\n", quantity.Duration(one.at), one.says)
		}
	}
	if len(d.expect) > 0 {
		fmt.Fprint(&b, "\nexpect:\n")
	}
	for _, one := range d.expect {
		fmt.Fprintf(&b, "  - %s\n", one)
	}
	return []byte(b.String())
}
