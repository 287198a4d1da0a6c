package livetest

import (
	"testing"
	"time"
)

// Lateness watches how late this machine wakes who sleeps a millisecond, again and
// again, until it is asked; it answers with the worst of it.
func Lateness() (worst func() time.Duration) {
	over, told := make(chan struct{}), make(chan time.Duration)
	go func() {
		const nap = time.Millisecond
		for most := time.Duration(0); ; {
			slept := time.Now()
			time.Sleep(nap)
			most = max(most, time.Since(slept)-nap)
			select {
			case <-over:
				told <- most
				return
			default:
			}
		}
	}()
	return func() time.Duration { close(over); return <-told }
}

// Trials of InTime.
const (
	trialsInTime = 3 // that may not all end undecided
	trialsMost   = 8 // before it is given up
)

// InTime repeats a trial in real time until it decides something. Undecided trials
// of a machine that is late by no more than so much are held against what is
// tried; where nearly all were late, the test is skipped in words: on such a
// machine it cannot be told.
func InTime(t testing.TB, late time.Duration, trial func() (decided bool, said string)) {
	t.Helper()
	inTime := 0
	var least, most time.Duration
	for n := range trialsMost {
		worst := Lateness()
		decided, said := trial()
		was := worst()
		if decided || t.Failed() {
			return
		}
		t.Logf("trial %d, in which this machine was up to %v late, decided nothing: %s", n+1, was, said)
		if was <= late {
			inTime++
		}
		if inTime == trialsInTime {
			t.Fatalf("%d trials of a machine in time decided nothing", inTime)
		}
		if least = min(least, was); n == 0 {
			least = was
		}
		most = max(most, was)
	}
	t.Skipf("could not tell: in %d trials this machine was %v to %v late, and only %d were in time, to within %v", trialsMost, least, most, inTime, late)
}
