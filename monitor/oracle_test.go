package monitor

import (
	"fmt"
	"math/rand"
	"testing"
)

// oracle is a second, slow formulation of what SEMANTICS.md says of a channel
// (sections 2 and 3). It keeps no
// counter, no age and no budget from one scan to the next: for every scan it
// reads the whole history again and counts what that page says.
type oracle struct {
	c       *Config
	history []Reading
}

// heard lists what arrived as news up to and with scan k, by the class of its
// scan; Missing where nothing new arrived.
func (o *oracle) heard(k int) []Class {
	news := make([]Class, k+1)
	measured := -1 // scan of the newest measurement that was taken
	for i := 0; i <= k; i++ {
		r := o.history[i]
		switch {
		case r.Quality == Absent:
			continue
		case r.Quality != Valid && r.Quality != OverRange:
			news[i] = Invalid
			continue
		case o.c.Stamped && measured >= 0:
			silent := 0 // scans just before this one without any news
			for j := i - 1; j >= 0 && news[j] == Missing; j-- {
				silent++
			}
			newer := int16(r.Stamp-o.history[measured].Stamp) > 0
			if r.Stamp == o.history[measured].Stamp || !newer && silent <= int(o.c.StaleAfter) {
				continue
			}
		}
		measured, news[i] = i, o.sort(r)
	}
	return news
}

// sort puts a reading into its class: the first line that matches.
func (o *oracle) sort(r Reading) Class {
	over := r.Quality == OverRange
	checks := []struct {
		class Class
		fits  bool
	}{
		{Invalid, over && !o.c.OverRangeIsOpen},
		{Open, over},
		{Invalid, r.Value < 0}, {Invalid, r.Value < o.c.Floor}, {Invalid, o.c.ValidMax != 0 && r.Value > o.c.ValidMax},
		{Open, r.Value >= o.c.OpenAbove},
		{Good, r.Value <= o.c.Accept}, {Between, r.Value <= o.c.Reject}, {High, true},
	}
	for _, check := range checks {
		if check.fits {
			return check.class
		}
	}
	panic("no class fits")
}

// effect is the class in effect in scan i: the last news, for as long as it is
// not staler than stale-after.
func (o *oracle) effect(news []Class, i int) (class Class, fresh bool) {
	for gap := 0; gap <= int(o.c.StaleAfter) && i-gap >= 0; gap++ {
		if news[i-gap] != Missing {
			return news[i-gap], gap == 0
		}
	}
	return Missing, false
}

// count is how many of the scans from..to satisfy the condition.
func (o *oracle) count(news []Class, from, to int, fits func(class Class, fresh bool) bool) int {
	n := 0
	for i := from; i <= to; i++ {
		if fits(o.effect(news, i)) {
			n++
		}
	}
	return n
}

func unusable(class Class) bool { return class == Invalid || class == Missing }
func bad(class Class) bool      { return class != Good && class != Between }

// phase is the channel's phase after scan k.
func (o *oracle) phase(k int) Phase {
	news := o.heard(k)
	phase, since := Unconnected, 0 // since: the scan in which the phase began
	for i := 0; i <= k; i++ {
		next := o.move(news, phase, since, i)
		if next != phase {
			phase, since = next, i
		}
	}
	return phase
}

func (o *oracle) move(news []Class, phase Phase, since, i int) Phase {
	class, fresh := o.effect(news, i)
	switch {
	case phase == Unconnected && unusable(class), phase == Lost && unusable(class):
		return Unreadable
	case phase == Unconnected && class == Good && fresh, phase == Lost && class == Good && fresh:
		return Settling
	case phase == Unreadable && !unusable(class):
		return Unconnected
	case phase == Settling:
		return o.settling(news, since, i)
	case phase == Bonded && bad(class):
		return o.doubtful(news, i, i)
	case phase == Doubtful:
		return o.doubtful(news, since, i)
	}
	return phase
}

// settling: good for long enough and often enough since the last restart.
func (o *oracle) settling(news []Class, since, i int) Phase {
	class, fresh := o.effect(news, i)
	for j := since; j <= i; j++ {
		if between, _ := o.effect(news, j); between == Between {
			since = j + 1
		}
	}
	good := o.count(news, since, i, func(c Class, _ bool) bool { return c == Good })
	freshGood := o.count(news, since, i, func(c Class, fresh bool) bool { return c == Good && fresh })
	pauses := o.count(news, since, i, func(c Class, _ bool) bool { return unusable(c) })
	switch {
	case class == High || class == Open:
		return Unconnected
	case unusable(class) && pauses > int(o.c.SettlePause):
		return Unreadable
	case class == Good && fresh && good >= int(o.c.SettleScans) && freshGood >= int(o.c.SettleReadings):
		return Bonded
	}
	return Settling
}

// doubtful: the budget since the scan of the first doubt, in whole numbers.
func (o *oracle) doubtful(news []Class, since, i int) Phase {
	spent, full := int64(0), int64(o.c.Full)
	for j := since; j <= i; j++ {
		class, fresh := o.effect(news, j)
		if class == Good && fresh {
			spent = max(0, spent-int64(o.c.Repay))
		} else if bad(class) {
			spent += int64(o.c.Cost[class])
		}
	}
	class, _ := o.effect(news, i)
	switch {
	case spent == 0:
		return Bonded
	case spent >= full && unusable(class):
		return Unreadable
	case spent >= full, i-since >= int(o.c.LongestStay):
		return Lost
	}
	return Doubtful
}

// cause: all classes that spent most of the doubt since the channel was bonded,
// when it is lost in scan k.
func (o *oracle) cause(k int) map[Class]bool {
	news := o.heard(k)
	first := k
	for first > 0 && o.phase(first-1) == Doubtful {
		first--
	}
	spent := map[Class]int64{}
	most := int64(0)
	for i := first; i <= k; i++ {
		class, _ := o.effect(news, i)
		spent[class] += int64(o.c.Cost[class])
		most = max(most, spent[class])
	}
	causes := map[Class]bool{}
	for class, amount := range spent {
		if amount == most {
			causes[class] = true
		}
	}
	return causes
}

// drawConfig draws a configuration that Validate accepts, small enough that
// short histories come to every phase, with every order of thresholds.
func drawConfig(r *rand.Rand) Config {
	floor := Microohm(r.Intn(2) * 50_000)
	c := Config{
		Accept: 9_000_000, Reject: 9_000_000 + Microohm(r.Intn(2))*1_000_000, Floor: floor,
		OverRangeIsOpen: r.Intn(2) == 0, Stamped: r.Intn(3) > 0,
		SettleReadings: 3, SettlePause: Scans(r.Intn(4)), LongestStay: Scans(1 + r.Intn(14)),
	}
	c.OpenAbove = c.Reject + 1 + Microohm(r.Intn(2))*5_000_000
	if r.Intn(3) > 0 {
		c.ValidMax = c.Reject + 1 + Microohm(r.Intn(3))*4_000_000
	}
	c.SettleScans = 3 + Scans(r.Intn(5))
	c.StaleAfter = Scans(r.Intn(min(4, int(c.SettleScans))))
	patience := [4]Parts{1, 2, 3, 4}
	c.Full = 12 * Parts(1+r.Intn(2))
	for _, class := range []Class{Missing, Invalid, Open, High} {
		c.Cost[class] = c.Full / patience[r.Intn(4)]
	}
	c.Repay = []Parts{1, 2, c.Full / 4, c.Full}[r.Intn(4)] // integrating … consecutive
	return c
}

// edgeValues lists every threshold with its neighbours.
func edgeValues(c *Config) []Microohm {
	var all []Microohm
	for _, v := range []Microohm{0, c.Floor, c.Accept, c.Reject, c.OpenAbove, c.ValidMax} {
		all = append(all, v-1, v, v+1)
	}
	return append(all, -1<<63, -1<<63+1, 1<<63-2, 1<<63-1, 1_000_000_000_000_000_000)
}

// drawHistory draws runs of alike readings, so that settling and doubt get
// somewhere, with gaps, repeats, late stamps, restarts and bad frames between.
func drawHistory(r *rand.Rand, c *Config, length int) []Reading {
	edges := edgeValues(c)
	history := make([]Reading, 0, length)
	stamp := uint16(r.Intn(1 << 16))
	for len(history) < length {
		run := 1 + r.Intn(5)
		reading := Reading{Value: c.Accept, Quality: Valid}
		switch r.Intn(8) {
		case 0:
			reading.Quality = Absent
		case 1:
			reading.Quality = Bad
		case 2:
			reading.Quality = OverRange
		case 3, 4:
			reading.Value = edges[r.Intn(len(edges))]
		default:
			run += r.Intn(6)
		}
		for ; run > 0 && len(history) < length; run-- {
			switch r.Intn(12) {
			case 0: // the same stamp again
			case 1:
				stamp -= uint16(1 + r.Intn(3)) // late
			case 2:
				stamp = uint16(r.Intn(1 << 16)) // numbering restarted
			case 3:
				stamp += 1 << 15 // exactly half the circle
			default:
				stamp += uint16(1 + r.Intn(3))
			}
			reading.Stamp = stamp
			history = append(history, reading)
		}
	}
	return history
}

// The oracle and Step agree on the phase, the class in effect and the cause, in
// every scan of tens of thousands of histories, and between them the histories
// take every edge of the chart many times.
func TestOracleAgrees(t *testing.T) {
	trials, length := 30_000, 60
	if testing.Short() {
		trials = 2_000
	}
	r := rand.New(rand.NewSource(20_260_101))
	var taken [Phases][Phases]int
	for trial := 0; trial < trials; trial++ {
		c := drawConfig(r)
		if err := c.Validate(); err != nil {
			t.Fatalf("trial %d draws a configuration that is refused: %v", trial, err)
		}
		o := &oracle{c: &c, history: drawHistory(r, &c, length)}
		var s State
		for k, reading := range o.history {
			next := Step(&c, s, reading)
			taken[s.Phase][next.Phase]++
			if err := o.disagree(k, &s, &next); err != nil {
				t.Fatalf("trial %d scan %d: %v\nconfig %+v\nhistory %+v", trial, k, err, c, o.history[:k+1])
			}
			s = next
		}
	}
	for _, e := range Chart() {
		if taken[e.From][e.To] < trials/200 {
			t.Errorf("%v to %v was taken only %d times", e.From, e.To, taken[e.From][e.To])
		}
	}
}

func (o *oracle) disagree(k int, before, after *State) error {
	news := o.heard(k)
	if class, fresh := o.effect(news, k); class != after.Class || fresh != (after.Age == 0) {
		return fmt.Errorf("class %v fresh %v, the oracle says %v %v", after.Class, after.Age == 0, class, fresh)
	}
	if want := o.phase(k); want != after.Phase {
		return fmt.Errorf("%v after %v, the oracle says %v", after.Phase, before.Phase, want)
	}
	if before.Phase.MayKeep() && !after.Phase.MayKeep() {
		if causes := o.cause(k); !causes[after.Cause()] {
			return fmt.Errorf("cause %v, the oracle says one of %v", after.Cause(), causes)
		}
	}
	return nil
}
