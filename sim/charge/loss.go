package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// Loss is the whole question of one part and one stream: the bond goes while
// product flows; what is on the part by the time that the flow has stopped?
type Loss struct {
	Current     interval.Interval // A, at full flow
	Leak        interval.Interval // Ω to earth without the bond; NoLeak() when not known
	Capacitance interval.Interval // F while it charges
	// Lowest is the lowest capacitance in F that the part will have while charged
	// (a drum lifted off a film). The zero value says: the same capacitance.
	Lowest   interval.Interval
	Start    interval.Interval // V on the part at the moment of loss; 0 when it was bonded
	Ignition Criterion
	RunDown  RunDown
}

// Verdict compares the greatest charge with the charge that ignites.
type Verdict uint8

// The zero value says that nothing was calculated.
const (
	NotCalculated Verdict = iota
	// WinsEverywhere: below what ignites for every value of every input.
	WinsEverywhere
	// LosesEverywhere: at or above what ignites for every value of every input.
	LosesEverywhere
	// Depends: some values of the inputs win and some lose, or it cannot be told.
	Depends
)

func (v Verdict) String() string {
	return [...]string{"not calculated", "wins everywhere", "loses everywhere", "depends"}[min(v, 3)]
}

// MarshalText writes the words.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// judge turns a ratio to what ignites into a verdict.
func judge(ratio interval.Interval) Verdict {
	switch {
	case ratio.Hi < 1:
		return WinsEverywhere
	case ratio.Lo >= 1:
		return LosesEverywhere
	default:
		return Depends
	}
}

// Outcome is the answer to a Loss. Peak values are the greatest between the loss
// and the end of flow, because a spark need not wait: any gap to earth will do.
type Outcome struct {
	Delivered     interval.Interval `json:"delivered"`      // C, brought by the stream from the loss to its end
	Peak          interval.Interval `json:"peak"`           // C, greatest charge on the part
	AtStop        interval.Interval `json:"at_stop"`        // C, on the part when the flow has stopped
	Voltage       interval.Interval `json:"voltage"`        // V, greatest, at the capacitance of the spark
	VoltageCapped interval.Interval `json:"voltage_capped"` // V, cut at the flashover cap
	Energy        interval.Interval `json:"energy"`         // J, greatest spark energy
	EnergyCapped  interval.Interval `json:"energy_capped"`  // J, with the voltage cut at the flashover cap
	Critical      interval.Interval `json:"critical"`       // C, charge that ignites at the capacitance of the spark
	// Ratio is peak charge over critical charge for the same capacitance: 1 ignites.
	Ratio         interval.Interval `json:"ratio"`
	RatioCapped   interval.Interval `json:"ratio_capped"`
	Verdict       Verdict           `json:"verdict"`
	VerdictCapped Verdict           `json:"verdict_capped"`
	// TimeToIncendive is from the loss at full current, s; from a bonded start.
	TimeToIncendive interval.Interval `json:"time_to_incendive"`
	End             interval.Interval `json:"end"` // s, from the loss to the end of flow
}

// enclosure: how tightly the extremum over capacitance is closed in, and at most
// how many cells that may take. The bounds hold whatever the effort.
const (
	enclosureTolerance = 2e-3
	enclosureBudget    = 3000
	// A strong leak makes the charge at stop so steep in the travel time that its
	// lower end, which decides nothing, would cost thousands of cells.
	atStopBudget = 200
)

// numericalSlack widens results that contain a numerical integral.
const numericalSlack = 1e-9

// Check refuses inputs that cannot be evaluated, naming the first.
func (l Loss) Check() error {
	err := firstError(
		checkMagnitude("charging current", "A", l.Current, true, false),
		checkMagnitude("leak resistance", "Ω", l.Leak, true, true),
		checkMagnitude("capacitance", "F", l.Capacitance, false, false),
		checkMagnitude("voltage at the loss", "V", l.Start, true, false),
		l.Ignition.Check(), l.RunDown.Check())
	if err != nil || !l.separate() {
		return err
	}
	return checkMagnitude("lowest capacitance", "F", l.Lowest, false, false)
}

// separate reports whether the spark happens at another capacitance than the charging.
func (l Loss) separate() bool { return l.Lowest != interval.Interval{} }

// sparkCapacitance is the capacitance in F that the spark discharges.
func (l Loss) sparkCapacitance() interval.Interval {
	if l.separate() {
		return l.Lowest
	}
	return l.Capacitance
}

// Evaluate calculates the outcome. It fails only on inputs that Check refuses.
func (l Loss) Evaluate() (Outcome, error) {
	if err := l.Check(); err != nil {
		return Outcome{}, err
	}
	spark := l.sparkCapacitance()
	out := Outcome{
		Delivered: l.RunDown.Delivered(l.Current),
		Peak:      l.peakCharge(l.Capacitance),
		AtStop:    l.chargeAtStop(),
		Critical:  l.Ignition.Charge(spark),
		Ratio:     l.ratio(),
		End:       l.RunDown.End(),
	}
	out.Voltage, out.Energy = l.voltageAndEnergy()
	out.VoltageCapped = CapVoltage(out.Voltage)
	out.EnergyCapped = out.Energy.Min(SparkEnergy(spark, FlashoverVoltage.Value))
	out.RatioCapped = l.ratioCapped(out.Ratio)
	out.Verdict, out.VerdictCapped = judge(out.Ratio), judge(out.RatioCapped)
	part, err := NewConductor(l.Current, l.Leak, l.Capacitance)
	if err != nil {
		return Outcome{}, err
	}
	out.TimeToIncendive = part.TimeToIncendive(l.Ignition)
	if l.separate() {
		out.TimeToIncendive = l.timeToCharge(out.Critical)
	}
	return out, nil
}

// timeToCharge is the time in s in which the part, charging at Capacitance, has
// collected a charge (C); for a spark at another capacitance.
func (l Loss) timeToCharge(charge interval.Interval) interval.Interval {
	// t(Q) = -RC ln(1-Q/(IRC)) falls with C: Q rises with C at any time.
	quick := timeTo(l.Current.Hi, l.Leak.Hi, l.Capacitance.Hi, charge.Lo/l.Capacitance.Hi).Lo
	slow := timeTo(l.Current.Lo, l.Leak.Lo, l.Capacitance.Lo, charge.Hi/l.Capacitance.Lo).Hi
	return interval.Interval{Lo: quick, Hi: slow}.Widen(numericalSlack)
}

// peakAt is the greatest charge in C at one corner.
func (l Loss) peakAt(run course, current, leak, capacitance, start float64) float64 {
	k := rate(leak, capacitance)
	if current == 0 {
		return start * capacitance // it only drains
	}
	_, held := run.peak(k, start*capacitance/current)
	return current * held
}

// peakCharge is the greatest charge in C for capacitances in a range. It rises
// with current, leak resistance, capacitance, start and every time of the
// run-down (the current at each moment never falls with any of them).
func (l Loss) peakCharge(capacitance interval.Interval) interval.Interval {
	return interval.Interval{
		Lo: l.peakAt(l.RunDown.course(false), l.Current.Lo, l.Leak.Lo, capacitance.Lo, l.Start.Lo),
		Hi: l.peakAt(l.RunDown.course(true), l.Current.Hi, l.Leak.Hi, capacitance.Hi, l.Start.Hi),
	}.Widen(numericalSlack)
}

// peakVoltage is the greatest voltage in V while charging, for capacitances in a
// range. It falls with capacitance: in the time t/C the same equation runs on a
// current that dies away sooner.
func (l Loss) peakVoltage(capacitance interval.Interval) interval.Interval {
	return interval.Interval{
		Lo: l.peakAt(l.RunDown.course(false), l.Current.Lo, l.Leak.Lo, capacitance.Hi, l.Start.Lo) / capacitance.Hi,
		Hi: l.peakAt(l.RunDown.course(true), l.Current.Hi, l.Leak.Hi, capacitance.Lo, l.Start.Hi) / capacitance.Lo,
	}.Widen(numericalSlack)
}

// voltageAndEnergy at the capacitance of the spark. With one capacitance for
// charging and spark the energy rises and falls with it, and is enclosed.
func (l Loss) voltageAndEnergy() (voltage, energy interval.Interval) {
	if l.separate() {
		charge := l.peakCharge(l.Capacitance)
		return charge.Div(l.Lowest), EnergyOfCharge(charge, l.Lowest)
	}
	over := func(c interval.Interval) interval.Interval {
		return l.peakCharge(c).Mul(l.peakVoltage(c)).Scale(0.5)
	}
	energy, _ = interval.Enclose(over, l.Capacitance, enclosureTolerance, enclosureBudget)
	return l.peakVoltage(l.Capacitance), energy
}

// ratio is peak over critical, with the same capacitance in both.
func (l Loss) ratio() interval.Interval {
	return interval.Interval{Lo: l.ratioEnd(interval.EncloseLo), Hi: l.ratioEnd(interval.EncloseHi)}
}

// ratioEnd is one end of ratio; enclose is interval.EncloseLo or EncloseHi.
func (l Loss) ratioEnd(enclose func(interval.Inclusion, interval.Interval, float64, int) (float64, bool)) float64 {
	over := func(c interval.Interval) interval.Interval {
		return l.peakVoltage(c).Div(l.Ignition.Voltage(c))
	}
	if l.separate() {
		over = func(c interval.Interval) interval.Interval {
			return l.peakCharge(c).Div(l.Ignition.Charge(l.Lowest))
		}
	}
	end, _ := enclose(over, l.Capacitance, enclosureTolerance, enclosureBudget)
	return end
}

// ratioCapped allows the voltage no more than the flashover cap: no more than
// cap over critical voltage.
func (l Loss) ratioCapped(uncapped interval.Interval) interval.Interval {
	most := FlashoverVoltage.Value.Div(l.Ignition.Voltage(l.sparkCapacitance()))
	if l.separate() || most.Lo >= uncapped.Hi {
		return uncapped.Min(most)
	}
	over := func(c interval.Interval) interval.Interval {
		return CapVoltage(l.peakVoltage(c)).Div(l.Ignition.Voltage(c))
	}
	ratio, _ := interval.Enclose(over, l.Capacitance, enclosureTolerance, enclosureBudget)
	return ratio
}

// chargeAtStop is what is left in C at the end of flow. Unlike the peak it is
// not monotone in the travel time when there is a leak (a long tail drains as it
// fills), so the travel is split.
func (l Loss) chargeAtStop() interval.Interval {
	over := func(travel interval.Interval) interval.Interval {
		run := l.RunDown
		run.Travel = travel
		return interval.Interval{
			Lo: l.leftAtStop(run, false),
			Hi: l.leftAtStop(run, true),
		}.Widen(numericalSlack)
	}
	left, _ := interval.Enclose(over, l.RunDown.Travel, enclosureTolerance, atStopBudget)
	return left
}

// leftAtStop bounds the charge in C at the end, when the end lies somewhere in
// the travel of run: from above by the longest course anywhere in that stretch of
// time, from below by the shortest course at both ends of it. A longer delay
// brings the charge nearer to its steady value, up or down: both ends count.
func (l Loss) leftAtStop(run RunDown, most bool) float64 {
	first, last := l.leftAfterDelay(run, run.Delay.Lo, most), l.leftAfterDelay(run, run.Delay.Hi, most)
	if most {
		return math.Max(first, last)
	}
	return math.Min(first, last)
}

func (l Loss) leftAfterDelay(run RunDown, delay float64, most bool) float64 {
	i, r, c, v0 := l.Current.Lo, l.Leak.Lo, l.Capacitance.Lo, l.Start.Lo
	if most {
		i, r, c, v0 = l.Current.Hi, l.Leak.Hi, l.Capacitance.Hi, l.Start.Hi
	}
	k := rate(r, c)
	path := run.course(most)
	path.delay = delay
	from, to := delay+run.Travel.Lo, delay+run.Travel.Hi
	level := func(t float64) float64 { return i*path.held(k, t) + v0*c*decayed(r, c, t) }
	if !most {
		return math.Min(level(from), level(to))
	}
	highest := math.Max(level(from), level(to))
	if i == 0 {
		return highest
	}
	if at, held := path.peak(k, v0*c/i); at >= from && at <= to {
		highest = math.Max(highest, i*held)
	}
	return highest
}
