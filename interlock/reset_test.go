package interlock

import (
	"strings"
	"testing"
)

// press is what the tests of buttons use: two to four scans.
var testPress = Press{Min: 2, Max: 4}

// buttonTrace plays a button: one letter a scan. 0 and 1 arrive, - is a gap
// that repeats the last value, ? is unknown. A capital C before a letter makes
// the conditions true from that scan on, a small c false.
func buttonTrace(text string) (phases string, spoils []Spoil) {
	var b Button
	level, now, before := Unknown, true, true
	for _, r := range text {
		fresh := false
		switch r {
		case 'C':
			now = true
			continue
		case 'c':
			now = false
			continue
		case '0':
			level, fresh = False, true
		case '1':
			level, fresh = True, true
		case '?':
			level = Unknown
		}
		var spoil Spoil
		b, spoil = stepButton(testPress, b, level, fresh, before, now)
		before = now
		phases += b.Phase.String()[:1]
		if spoil != NotSpoiled {
			spoils = append(spoils, spoil)
		}
	}
	return phases, spoils
}

// Every way to press a button wrongly, and the neighbours of every limit: unseen,
// idle, pressed, spoiled, given. A press counts on its release, as an actuator
// that only acts on 1 -> 0 does (ISO 13849-1:2015 5.2.2; the edge is known at
// second hand).
func TestButtonChart(t *testing.T) {
	cases := []struct {
		name, trace, want string
		spoil             Spoil
	}{
		{"a deliberate press", "011000", "ippPgi", NotSpoiled},
		{"the longest press", "01111000", "ippppPgi", NotSpoiled},
		{"one scan too long", "011111000", "ippppsiii", TooLong},
		{"one scan too short", "0100", "ipsi", TooShort},
		{"given counts once", "0110000", "ippPgii", NotSpoiled},
		{"two presses", "0110011001100", "ippPgppPgppPg", NotSpoiled},
		{"down at power-up (stuck)", "1111100110", "uuuuuiippP", Stuck},
		{"down at power-up, then released", "110000", "uuiiii", Stuck},
		{"nothing seen", "??--", "uuuu", NotSpoiled},
		{"held from before the conditions", "0c11C11100", "isssssii", TooEarly},
		{"pressed in the scan in which they become true", "0c0C1100", "iissii", TooEarly},
		{"pressed one scan after they became true", "0c0C01100", "iiippPg", NotSpoiled},
		{"a condition goes away during the press", "011c1C100", "ippssii", Fell},
		{"a condition goes away in the release", "011c0C0", "ippsi", Fell},
		{"a condition goes away between the zeros", "0110c0C0", "ippPsi", Fell},
		{"the module drops off while held", "011?00", "ippsii", NoWord},
		{"it drops off and comes back down", "011?1100", "ippsssii", NoWord},
		{"it drops off after the first zero", "0110?0", "ippPsi", NoWord},
		{"bounce 1 0 1", "01101000", "ippPsiii", Bounced},
		{"one zero alone is no release", "0110----", "ippPPPPP", NotSpoiled},
		{"a gap in the release is no second zero", "0110-0", "ippPPg", NotSpoiled},
		{"a gap while idle", "0--1100", "iiippPg", NotSpoiled},
		{"unknown while idle hides an edge", "0?1100", "isssii", NotSpoiled},
		{"unknown while idle, then a zero", "0?01100", "isippPg", NotSpoiled},
		{"unknown right after it was given", "01100?1100", "ippPgsssii", NotSpoiled},
		{"a gap in the press counts as down", "01---00", "ippppPg", NotSpoiled},
	}
	for _, k := range cases {
		phases, spoils := buttonTrace(k.trace)
		want := strings.ReplaceAll(k.want, "P", "p") // P marks the first of the two zeros
		if phases != want {
			t.Errorf("%s: %s gives %s, want %s", k.name, k.trace, phases, want)
		}
		if k.spoil == NotSpoiled && len(spoils) > 0 || k.spoil != NotSpoiled && (len(spoils) != 1 || spoils[0] != k.spoil) {
			t.Errorf("%s: %s told %v, want %v", k.name, k.trace, spoils, k.spoil)
		}
	}
}

// Over every trace of seven scans: given never comes without the whole rule of a
// button (SEMANTICS.md, Binary inputs), stated here on the trace itself.
func TestEveryShortTrace(t *testing.T) {
	letters := []string{"0", "1", "-", "?", "c0", "c1", "C0", "C1"}
	given, traces := 0, 0
	var try func(string, int)
	try = func(text string, left int) {
		if left == 0 {
			traces++
			phases, _ := buttonTrace(text)
			for at, phase := range phases {
				if want := legalPress(text, at); (phase == 'g') != want {
					t.Fatalf("%s gives %s: scan %d, the rule says %v", text, phases, at, want)
				} else if want {
					given++
				}
			}
			return
		}
		for _, letter := range letters {
			try(text+letter, left-1)
		}
	}
	try("", 6)
	if given == 0 || traces != 262_144 {
		t.Fatalf("%d presses given in %d traces", given, traces)
	}
}

// legalPress reads the trace backwards from a scan: two fresh zeros with the
// conditions true, gaps allowed; a run of ones, two to four long, all with the
// conditions true; before it a zero, and the conditions true in that scan
// already.
func legalPress(text string, at int) bool {
	type scan struct{ letter, conditions byte }
	var scans []scan
	now := byte('C')
	for i := 0; i < len(text); i++ {
		if text[i] == 'C' || text[i] == 'c' {
			now = text[i]
			continue
		}
		scans = append(scans, scan{text[i], now})
	}
	i, zeros, ones := at, 0, 0
	for ; i >= 0 && scans[i].conditions == 'C' && (scans[i].letter == '0' || scans[i].letter == '-'); i-- {
		if scans[i].letter == '0' {
			zeros++
		}
	}
	// The gaps just after a one repeat the one.
	if i < 0 || scans[at].letter != '0' || zeros != 2 {
		return false
	}
	gaps := 0
	for k := i + 1; scans[k].letter == '-'; k++ {
		gaps++
	}
	ones = gaps
	first := i
	for ; i >= 0 && scans[i].conditions == 'C' && (scans[i].letter == '1' || scans[i].letter == '-'); i-- {
		ones++
		if scans[i].letter == '1' {
			first = i
		}
	}
	ones -= first - (i + 1) // gaps before the first one repeat what was before
	before := first - 1
	if scans[first].letter != '1' || before < 0 || scans[before].conditions != 'C' || ones < 2 || ones > 4 {
		return false
	}
	for before >= 0 && scans[before].letter == '-' {
		before--
	}
	return before >= 0 && scans[before].letter == '0'
}
