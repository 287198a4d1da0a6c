package verify

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// bay is a hand-built site: n cars, each with a clamp, a position switch, a
// valve, a wait and an acknowledge; one pump for all, which is the backup of
// every valve. Scan 10 ms.
func bay(t testing.TB, n int, change func(*model.Model)) *model.Model {
	t.Helper()
	c := &interlock.Config{PollScans: 1}
	m := &model.Model{Site: "bay", Config: c, PeriodMin: 10 * time.Millisecond, PeriodMax: 10 * time.Millisecond}
	input := func(name string) interlock.Ref {
		m.Names.Inputs = append(m.Names.Inputs, name)
		c.Inputs = append(c.Inputs, interlock.Input{StaleAfter: 6})
		return interlock.Ref(len(c.Inputs))
	}
	press := interlock.Press{Min: 11, Max: 299}
	pumpReset := input("reset_pump")
	for i := 1; i <= n; i++ {
		car := fmt.Sprintf("car_%d", i)
		m.Names.Channels = append(m.Names.Channels, fmt.Sprintf("bond_%d", i))
		c.Channels = append(c.Channels, interlock.Channel{Config: demoChannel(), Evidence: input("here_" + car)})
		c.Outputs = append(c.Outputs, interlock.Output{
			OnDelay: 20, Reset: input("reset_" + car), Press: press,
			Closed: input("closed_" + car), Opened: input("opened_" + car), Travel: 600, Backup: []int{n},
		})
		m.Names.Outputs = append(m.Names.Outputs, fmt.Sprintf("valve_%d", i))
		c.Vessels = append(c.Vessels, interlock.Vessel{Wait: 6000, Rest: 3000, Acknowledge: input("ack_" + car), Press: press})
		m.Names.Vessels = append(m.Names.Vessels, car)
		c.Streams = append(c.Streams, interlock.Stream{Through: []int{i - 1, n}, Charges: []int{i - 1}, RunDown: 100})
		m.Names.Streams = append(m.Names.Streams, "product_"+car)
	}
	var all []string
	for i := 1; i <= n; i++ {
		c.Outputs[i-1].Permissive = parse(t, m, fmt.Sprintf("bond_%d", i))
		c.Vessels[i-1].BondedBy = c.Outputs[i-1].Permissive
		all = append(all, fmt.Sprintf("bond_%d", i))
	}
	m.Names.Outputs = append(m.Names.Outputs, "pump")
	c.Outputs = append(c.Outputs, interlock.Output{Permissive: parse(t, m, strings.Join(all, " AND ")), Reset: pumpReset, Press: press})
	if change != nil {
		change(m)
	}
	if err := c.Compile(); err != nil {
		t.Fatal(err)
	}
	return m
}

// parse reads a permissive over the model's names.
func parse(t testing.TB, m *model.Model, text string) interlock.Permissive {
	t.Helper()
	p, err := interlock.ParsePermissive(text, func(name string) (int, bool) {
		for i, have := range append(append([]string(nil), m.Names.Channels...), m.Names.Inputs...) {
			if have == name {
				return i, true
			}
		}
		return 0, false
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// integrating makes a channel repay one bad of the most patient class by four
// good.
func integrating(c *monitor.Config) {
	c.Full, c.Repay = 240, 3
	c.Cost = [monitor.Classes]monitor.Parts{40, 40, 240, 12, 0, 0}
}

func demoChannel() monitor.Config {
	return monitor.Config{Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
		StaleAfter: 6, SettleScans: 51, SettleReadings: 5, SettlePause: 5,
		Full: 60, Cost: [monitor.Classes]monitor.Parts{10, 10, 60, 3, 0, 0}, Repay: 60, LongestStay: 500}
}

func demoOutput() interlock.Output {
	return interlock.Output{OnDelay: 20, Reset: 1, Press: interlock.Press{Min: 11, Max: 299}, Closed: 2, Opened: 3, Travel: 600, Start: 4, Stop: 5}
}
