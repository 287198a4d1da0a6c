package monitor

import "testing"

// BadScans and DetectionScans are what Step does, also where the budget fills
// its counter.
func TestBadScansAreWhatStepDoes(t *testing.T) {
	huge := rack()
	huge.Full, huge.Repay = ^Parts(0), ^Parts(0)
	huge.Cost = [Classes]Parts{Missing: 1 << 31, Invalid: 1<<31 - 1, Open: ^Parts(0), High: 1 << 30}
	short := rack()
	short.LongestStay = 1
	for name, c := range map[string]Config{"rack": rack(), "huge": huge, "short stay": short} {
		if err := c.Validate(); err != nil {
			t.Fatal(name, err)
		}
		for _, class := range []Class{Missing, Invalid, Open, High} {
			s := Control{Phase: Bonded, Class: Good}
			n := Scans(0)
			for s.Phase.MayKeep() {
				s = Advance(&c, s, class)
				n++
			}
			if got := c.DetectionScans(class); got != n {
				t.Errorf("%s: %v lasts %d scans, DetectionScans says %d", name, class, n, got)
			}
			if got := c.BadScans(class); class != Missing && got != n || class == Missing && got != n-c.StaleAfter {
				t.Errorf("%s: %v lasts %d scans, BadScans says %d", name, class, n, got)
			}
		}
		if c.BadScans(Good) != ScansMax || c.DetectionScans(Between) != ScansMax {
			t.Errorf("%s: a class that spends nothing ends in a loss", name)
		}
	}
	late := rack()
	late.StaleAfter = ScansMax - 1
	if late.DetectionScans(Missing) != ScansMax {
		t.Error("DetectionScans wraps")
	}
}

// Validate names everything that could not be trusted, and the neighbours on
// the trusted side are accepted.
func TestValidate(t *testing.T) {
	good := rack()
	if err := good.Validate(); err != nil {
		t.Fatal(err)
	}
	zero := Config{}
	if zero.Validate() == nil {
		t.Fatal("the zero configuration is accepted")
	}
	cases := []struct {
		name   string
		refuse bool
		edit   func(*Config)
	}{
		{"accept 0", false, func(c *Config) { c.Accept, c.Floor = 0, 0 }},
		{"accept negative", true, func(c *Config) { c.Accept, c.Floor = -1, 0 }},
		{"accept at reject", false, func(c *Config) { c.Accept = c.Reject }},
		{"accept above reject", true, func(c *Config) { c.Accept = c.Reject + 1 }},
		{"open above reject", false, func(c *Config) { c.OpenAbove = c.Reject + 1 }},
		{"open at reject", true, func(c *Config) { c.OpenAbove = c.Reject }},
		{"floor at accept", false, func(c *Config) { c.Floor = c.Accept }},
		{"floor above accept", true, func(c *Config) { c.Floor = c.Accept + 1 }},
		{"floor negative", true, func(c *Config) { c.Floor = -1 }},
		{"no valid band", false, func(c *Config) { c.ValidMax = 0 }},
		{"valid band above reject", false, func(c *Config) { c.ValidMax = c.Reject + 1 }},
		{"valid band ends at reject", true, func(c *Config) { c.ValidMax = c.Reject }},
		{"valid band negative", true, func(c *Config) { c.ValidMax = -1 }},
		{"two readings", true, func(c *Config) { c.SettleReadings = 2 }},
		{"as many scans as readings", false, func(c *Config) { c.SettleReadings = c.SettleScans }},
		{"more readings than scans", true, func(c *Config) { c.SettleReadings = c.SettleScans + 1 }},
		{"stale-after below settle", false, func(c *Config) { c.StaleAfter = c.SettleScans - 1 }},
		{"stale-after at settle", true, func(c *Config) { c.StaleAfter = c.SettleScans }},
		{"no budget", true, func(c *Config) { c.Full = 0 }},
		{"repays nothing", true, func(c *Config) { c.Repay = 0 }},
		{"repays more than the budget", true, func(c *Config) { c.Repay = c.Full + 1 }},
		{"no stay", true, func(c *Config) { c.LongestStay = 0 }},
		{"missing free", true, func(c *Config) { c.Cost[Missing] = 0 }},
		{"high free", true, func(c *Config) { c.Cost[High] = 0 }},
		{"open dearer than the budget", true, func(c *Config) { c.Cost[Open] = c.Full + 1 }},
		{"between spends", true, func(c *Config) { c.Cost[Between] = 1 }},
		{"good spends", true, func(c *Config) { c.Cost[Good] = 1 }},
	}
	for _, k := range cases {
		c := rack()
		k.edit(&c)
		if err := c.Validate(); (err != nil) != k.refuse {
			t.Errorf("%s: %v", k.name, err)
		}
	}
}
