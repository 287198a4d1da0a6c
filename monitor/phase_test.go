package monitor

import "testing"

// A lost channel of which nothing usable is read any more is unreadable, that
// is unknown: NOT of it must not become true.
func TestLostChannelBecomesUnreadable(t *testing.T) {
	c := rack()
	for _, news := range []Class{Invalid, Missing} {
		s := Control{Phase: Lost, Class: High, Age: c.StaleAfter}
		if got := Advance(&c, s, news).Phase; got != Unreadable {
			t.Errorf("lost, then %v: %v", news, got)
		}
	}
	if got := Advance(&c, Control{Phase: Lost, Class: High}, Missing).Phase; got != Lost {
		t.Errorf("a gap within stale-after repeats the class in effect, but a lost channel became %v", got)
	}
}
