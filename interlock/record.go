package interlock

// OutputState is all that an output remembers: what decides, and the record of
// its last trip, which decides nothing.
type OutputState struct {
	OutputControl
	Trip TripRecord
}

// TripRecord names what tripped an output first. It stands until the reset.
type TripRecord struct {
	FirstOut  CauseSet // causes of the permissive that were not true in the trip scan
	Alongside CauseSet // causes that went within the same bus cycle: the order is unknown
	Why       Reasons  // what withheld it in the trip scan
	Callers   uint64   // outputs that called it as their backup in the trip scan
	Window    Scans    // scans of the bus cycle still to come
}

// OrderUnknown says that nobody can tell which of the causes came first.
func (t *TripRecord) OrderUnknown() bool { return t.FirstOut.Len()+t.Alongside.Len() > 1 }

// record keeps the first-out set of output i.
func (c *Config) record(i int, s *OutputState, news *OutputTold, d *Decision) {
	o := &c.Outputs[i]
	switch {
	case news.Tripped:
		s.Trip = TripRecord{Why: news.Reasons, Callers: d.callers[i]}
		o.Permissive.Culprits(d.allowKeep, &s.Trip.FirstOut)
		if c.PollScans > 0 {
			s.Trip.Window = c.PollScans - 1
		}
	case news.ResetGiven || news.Enabled:
		s.Trip = TripRecord{}
	case s.Mode == Tripped && s.Trip.Window > 0:
		s.Trip.Window--
		var now CauseSet
		o.Permissive.Culprits(d.allowKeep, &now)
		for w := range now {
			s.Trip.Alongside[w] |= now[w] &^ s.Trip.FirstOut[w]
		}
	}
}
