package monitor

import "errors"

// Validate reports every way in which a configuration could not be trusted.
// Site files are checked with positions before; this is the last gate, for
// callers that build a Config by hand.
func (c *Config) Validate() error {
	var wrong []error
	refuse := func(bad bool, text string) {
		if bad {
			wrong = append(wrong, errors.New("monitor: "+text))
		}
	}
	refuse(c.Accept < 0, "accept is negative")
	refuse(c.Accept > c.Reject, "accept is above reject")
	refuse(c.OpenAbove <= c.Reject, "open-above is not above reject")
	refuse(c.Floor < 0 || c.Floor > c.Accept, "the plausible floor is not between 0 and accept")
	refuse(c.ValidMax != 0 && c.ValidMax <= c.Reject, "the valid band ends at or below reject")
	refuse(c.SettleReadings < 3, "fewer than three fresh readings would make a bond")
	refuse(c.SettleScans < c.SettleReadings, "the settle time is shorter than its readings take")
	refuse(c.StaleAfter >= c.SettleScans, "stale-after is not shorter than the settle time")
	refuse(c.Full == 0, "the budget of doubt is empty")
	refuse(c.Repay == 0 || c.Repay > c.Full, "a good reading repays nothing, or more than the budget")
	refuse(c.LongestStay == 0, "the longest stay in doubtful is zero")
	for class := Missing; class < Classes; class++ {
		spends := class != Between && class != Good
		refuse(spends && (c.Cost[class] == 0 || c.Cost[class] > c.Full), class.String()+" spends nothing, or more than the budget")
		refuse(!spends && c.Cost[class] != 0, class.String()+" spends doubt")
	}
	return errors.Join(wrong...)
}

// BadScans is how many scans in a row of one class, from a bonded channel
// without doubt, end in a loss: the last of them is the scan of the loss. A
// class that spends nothing never does.
func (c *Config) BadScans(class Class) Scans {
	if c.Cost[class] == 0 {
		return ScansMax
	}
	byBudget := Scans((c.Full-1)/c.Cost[class]) + 1 // rounded up without passing 32 bits
	return min(byBudget, c.LongestStay.Next())      // the first scan is not counted as a stay
}

// DetectionScans is how many scans after the last fresh good reading a channel
// that delivers only this class has left fit-to-keep, at the latest.
func (c *Config) DetectionScans(class Class) Scans {
	n := c.BadScans(class)
	if class == Missing {
		// The gap itself is noticed only after stale-after.
		return n + min(c.StaleAfter, ScansMax-n)
	}
	return n
}
