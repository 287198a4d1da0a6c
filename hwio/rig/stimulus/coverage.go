package stimulus

import (
	"slices"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
)

// Place is one transition of the verified graph, or one fault at one place, as plain data: what a bench may see.
type Place struct {
	Kind  string   `json:"kind"` // channel | output | reset | actuator | vessel | bypass | fault
	Name  string   `json:"name"` // of the part
	Text  string   `json:"text"` // its own name, as records keep it
	From  string   `json:"-"`    // phase or mode before
	Why   string   `json:"-"`    // class of news, or reason
	Needs []string `json:"-"`    // causes that must be lost together
}

// Unreachable is a place that this bench cannot show, and why.
type Unreachable struct {
	Place
	Because string `json:"because"`
}

// Share is how much of one kind a bench has seen.
type Share struct {
	Kind   string `json:"kind"`
	Seen   int    `json:"seen"`
	Gaps   int    `json:"not_seen"`
	Cannot int    `json:"this_bench_cannot"`
}

// Coverage is what of the verified graph a bench has seen.
type Coverage struct {
	Shares []Share       `json:"shares"`
	Seen   []Place       `json:"seen"`
	Gaps   []Place       `json:"not_seen"`
	Cannot []Unreachable `json:"this_bench_cannot"`
}

// Covered sorts the places of a graph into seen, not seen and beyond this bench. What it cannot show is never counted as seen,
// whatever a record says: then the logic beside the unit did it, not the bench. Refuses says why a fault cannot be played.
func Covered(m *wiring.Map, logic *interlock.Config, places []Place, seen map[string]bool, refuses func(Place) string) Coverage {
	made := Coverage{Seen: []Place{}, Gaps: []Place{}, Cannot: []Unreachable{}}
	for _, one := range places {
		at := slices.IndexFunc(made.Shares, func(s Share) bool { return s.Kind == one.Kind })
		if at < 0 {
			at = len(made.Shares)
			made.Shares = append(made.Shares, Share{Kind: one.Kind})
		}
		share := &made.Shares[at]
		because := Cannot(m, logic, one)
		if because == "" && one.Kind == "fault" && !seen[one.Text] {
			because = refuses(one)
		}
		switch {
		case because != "":
			share.Cannot++
			made.Cannot = append(made.Cannot, Unreachable{one, because})
		case seen[one.Text]:
			share.Seen++
			made.Seen = append(made.Seen, one)
		default:
			share.Gaps++
			made.Gaps = append(made.Gaps, one)
		}
	}
	return made
}
