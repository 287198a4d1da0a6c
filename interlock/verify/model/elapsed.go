package model

import (
	"time"

	"ohmgate/monitor"
)

// Scans become times here, and times scans, always to the careful side. Where a
// poll cycle is longer than a scan, a reading stands for every scan until the
// next poll: what happens in the plant may wait a whole cycle until it is read,
// and one spoilt reading spoils as many scans. interlock/site counts the same way
// for margin, in closed form; a test compares the two.

// Longest is how long so many scans take at most.
func (m *Model) Longest(n Scans) time.Duration { return time.Duration(n) * m.PeriodMax }

// slowPoll says that a reading stands for more than one scan.
func (m *Model) slowPoll() bool { return m.Poll > m.PeriodMax }

// Held is how many scans one reading stands for at most.
func (m *Model) Held() Scans {
	if !m.slowPoll() {
		return 1
	}
	return Scans((m.Poll + m.PeriodMin - 1) / m.PeriodMin)
}

// Read is the longest from a change in the plant to the first scan that can show
// it, for a channel of this aperture.
func (m *Model) Read(aperture time.Duration) time.Duration {
	if m.slowPoll() {
		return aperture + m.Poll
	}
	return aperture
}

// Hit is the most bad scans in a row that a disturbance of this length can cause.
// A gap begins with the last reading before it and ends with the first behind it.
func (m *Model) Hit(class monitor.Class, lasts time.Duration) Scans {
	if !m.slowPoll() {
		return Scans(lasts/m.PeriodMin) + 1
	}
	spoilt := Scans(lasts/m.Poll) + 1
	if class == monitor.Missing {
		return Scans((time.Duration(spoilt+1)*m.Poll+m.PeriodMin-1)/m.PeriodMin) - 1
	}
	return spoilt * m.Held()
}

// Forgiven is how short a disturbance must be to hit no more than so many scans:
// anything shorter is ridden through.
func (m *Model) Forgiven(class monitor.Class, n Scans) time.Duration {
	step := m.PeriodMin
	if m.slowPoll() {
		step = m.Poll
	}
	lasts := time.Duration(0)
	for n < Endless && m.Hit(class, lasts) <= n {
		lasts += step
	}
	return lasts
}
