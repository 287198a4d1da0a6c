package interlock

import (
	"fmt"
	"testing"
)

// Every value that people are told of has one text of its own, and no text is
// that of another value of the same type.
func TestEveryValueHasItsText(t *testing.T) {
	for _, c := range []struct {
		what  string
		count int
		text  func(i int) fmt.Stringer
		twice string // a text that two values share, because each is of another part
	}{
		{"event kind", Kinds - 1, func(i int) fmt.Stringer { return NoEvent + 1 + Kind(i) }, "released"},
		{"reason", reasonCount, func(i int) fmt.Stringer { return Reason(1) << i }, ""},
		{"way to be unconfirmed", unconfirmedCount, func(i int) fmt.Stringer { return Unconfirmed(1) << i }, ""},
		{"spoiled press", Spoils, func(i int) fmt.Stringer { return Spoil(i) }, ""},
		{"mode", Modes, func(i int) fmt.Stringer { return Mode(i) }, ""},
		{"press phase", len(pressNames), func(i int) fmt.Stringer { return PressPhase(i) }, ""},
	} {
		seen := map[string]int{}
		for i := range c.count {
			text := c.text(i).String()
			if text == "" {
				t.Errorf("%s %d has no text", c.what, i)
			}
			if before, twice := seen[text]; twice && text != c.twice {
				t.Errorf("%s %d and %d are both %q", c.what, before, i, text)
			}
			seen[text] = i
		}
	}
	if len(pressNames) != int(Given)+1 || NoEvent.String() != "" {
		t.Errorf("%d names of press phases; no event is %q", len(pressNames), NoEvent)
	}
}

// A set is told by its members, each once and alone, in the order of their
// numbers.
func TestSetsHandOutTheirMembers(t *testing.T) {
	some := ReasonStart | ReasonOverrun
	var reasons []Reason
	some.Each(func(one Reason) { reasons = append(reasons, one) })
	if fmt.Sprint(reasons) != "[scan overrun start needed]" || some.String() != "scan overrun + start needed" || Reasons(0).String() != "" {
		t.Errorf("%v: %q, and none is %q", reasons, some, Reasons(0))
	}
	late := UnknownOpen | StayedOpen
	var ways []Unconfirmed
	late.Each(func(one Unconfirmed) { ways = append(ways, one) })
	if len(ways) != 2 || ways[0] != StayedOpen || ways[1] != UnknownOpen || late.String() != StayedOpen.String()+" - "+UnknownOpen.String() {
		t.Errorf("%v: %q", ways, late)
	}
	all := Reasons(0)
	AllReasons.Each(func(one Reason) { all |= one })
	ever := Unconfirmed(0)
	AllUnconfirmed.Each(func(one Unconfirmed) { ever |= one })
	if all != AllReasons || ever != AllUnconfirmed || AllReasons&ReasonStart == 0 || AllUnconfirmed&UnknownOpen == 0 {
		t.Errorf("not all is handed out: %b of %b, %b of %b", all, AllReasons, ever, AllUnconfirmed)
	}
}
