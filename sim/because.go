package sim

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
)

// because is what an event's reason has to be: one of these values, with all of
// these names behind it. nil is any reason, or none.
type because struct {
	reasons     interlock.Reasons
	spoils      [interlock.Spoils]bool
	unconfirmed interlock.Unconfirmed
	names       []string
}

// because reads the words of a reason, or a part of them that says which: "wait
// running", "permissive not met: bond_1", "held for too long"; or names alone.
func (n *names) because(text string) (b *because, wrong, instead string) {
	if text == "" {
		return nil, "", ""
	}
	b = &because{}
	words, behind, named := strings.Cut(text, ": ")
	if !named {
		words, behind, named = strings.Cut(text, " by ")
	}
	if !b.means(words) {
		words, behind, named = "", text, true
		b.reasons = interlock.AllReasons
	}
	if !named {
		return b, "", ""
	}
	b.names = strings.Split(behind, ", ")
	for _, name := range b.names {
		if _, known := n.number[name]; known {
			continue
		}
		if words == "" {
			return nil, fmt.Sprintf("%q is no reason of an event", text), "write one, such as wait running, permissive not met: bond_1 or held for too long"
		}
		instead = "use a name of this site"
		if meant := site.Nearest(name, n.all); meant != "" {
			instead = "write " + meant
		}
		return nil, fmt.Sprintf("nothing is called %q", name), instead
	}
	return b, "", ""
}

// means takes every value whose words these are part of.
func (b *because) means(words string) (some bool) {
	is := func(text string) bool {
		yes := words != "" && strings.Contains(text, words)
		some = some || yes
		return yes
	}
	interlock.AllReasons.Each(func(one interlock.Reason) {
		if is(one.String()) {
			b.reasons |= one
		}
	})
	for spoil := interlock.NotSpoiled + 1; spoil < interlock.Spoils; spoil++ {
		b.spoils[spoil] = is(spoil.String())
	}
	interlock.AllUnconfirmed.Each(func(one interlock.Unconfirmed) {
		if is(tell.Unconfirmed(one)) {
			b.unconfirmed |= one
		}
	})
	return some
}

// holds says that an event of this scan has such a reason.
func (b *because) holds(v *view, e *interlock.Event) bool {
	if b == nil || len(b.names) == 0 && (b.spoils[tell.Spoiled(e)] || b.unconfirmed&tell.Ways(e) != 0) {
		return true
	}
	found := false
	(b.reasons & tell.Reasons(e)).Each(func(one interlock.Reason) {
		behind := v.scene().Behind(e.Subject, one)
		found = found || !slices.ContainsFunc(b.names, func(name string) bool { return !slices.Contains(behind, name) })
	})
	return found
}
