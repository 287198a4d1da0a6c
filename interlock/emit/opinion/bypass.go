package opinion

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// RestateBypass makes the source of one bypass with its key, every counter at its
// exact value, beside property 11. The bound is how long it is to last.
func RestateBypass(name string, b *interlock.Bypass, key *interlock.Input, bound *Bound) (*Source, error) {
	lasts := Bound{Scans: uint64(b.For), Class: monitor.Good}
	if bound != nil {
		lasts = *bound
	}
	if lasts.Of > 0 || lasts.Class != monitor.Good || lasts.Scans == 0 || lasts.Scans > most {
		return nil, fmt.Errorf("property 11 of bypass %s: a bound of %q is no number of scans up to %d; write one, such as --bound %d", name, lasts, most, b.For)
	}
	s := &Source{Title: fmt.Sprintf("bypass %s alone, every counter at its exact value", name), kind: aBypass, says: `On for exactly BOUND scans, no less and no more, whatever its key does; off at
power-up; it begins with a fresh 1 after a valid 0, and after more than GAP scans
at 0 since its end. What it covers is in the models of an output, where it comes
and goes freely; there a vessel's bond and wait are without it (2, 3, 8).`,
		counters: map[string]counter{}, judged: []model.Property{model.PropertyBypass}}
	s.number("UNKNOWN AT_0 AT_1")
	s.number("NOTHING FAULTY COMES_0 COMES_1")
	s.constant("STALE_AFTER", uint64(key.StaleAfter))
	s.constant("LASTS", uint64(b.For))
	s.constant("GAP", uint64(b.Gap))
	s.constant("BOUND", lasts.Scans)
	s.keep(2, "value")
	s.keep(uint64(key.StaleAfter), "age")
	s.keep(1, "low wlow")
	s.keep(uint64(b.For)+1, "since")
	s.keep(uint64(b.Gap)+1, "zeros wzeros")
	s.keep(lasts.Scans+1, "won")
	s.choose("signal", upTo(4)...)
	for _, part := range []string{"key", "bypass", "bypassed"} {
		s.add(part, 0)
	}
	s.body = append(s.body, "judge")
	s.findScratch()
	return s, nil
}
