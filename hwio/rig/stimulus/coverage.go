package stimulus

import (
	"fmt"
	"slices"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Kind is what sort of goal a Goal is.
type Kind uint8

// The zero Kind is no goal of any bench.
const (
	NoGoal   Kind = iota
	Channel       // a change of phase
	Output        // a change of mode
	Reset         // a press of reset or start that does not count
	Actuator      // an end switch that does not report, or reports again
	Vessel        // what is told of a vessel
	Bypass        // what is told of a bypass
	Fault         // a fault of the catalogue at one place
	Kinds    = iota
)

// kindTexts are kept in reports: they are not reworded.
var kindTexts = [Kinds]string{"", "channel", "output", "reset", "actuator", "vessel", "bypass", "fault"}

// String is the kind's word in reports.
func (k Kind) String() string { return kindTexts[k] }

// MarshalText writes it.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText reads it back.
func (k *Kind) UnmarshalText(text []byte) error {
	at := slices.Index(kindTexts[:], string(text))
	if at < 0 {
		return fmt.Errorf("no kind of goal is called %q", text)
	}
	*k = Kind(at)
	return nil
}

// Goal is one transition of the verified graph, or one fault at one place, that a bench may see: plain data, with what must be
// done at the terminals of a unit to bring it about.
type Goal struct {
	Kind Kind   `json:"kind"`
	Name string `json:"name"` // of the part
	Text string `json:"text"` // its own name, as records keep it

	From  monitor.Phase `json:"-"` // of a channel: the phase before
	Class monitor.Class `json:"-"` // of a channel: what it must read
	// Moves are the channels and inputs, by name, that must change for it; the others may stay. Empty: nothing must.
	Moves []string `json:"-"`
	// Unknown says that they must say nothing: an unreadable channel, an input that is neither 0 nor 1.
	Unknown bool `json:"-"`
	// Inside says that nothing at the terminals brings it about, only the unit itself, as a scan overrun.
	Inside bool   `json:"-"`
	Fault  string `json:"-"` // of the catalogue, by name
}

// Unreachable is a goal that this bench cannot reach, and why.
type Unreachable struct {
	Goal
	Because string `json:"because"`
}

// Share is how much of one kind a bench has seen.
type Share struct {
	Kind   Kind `json:"kind"`
	Seen   int  `json:"seen"`
	Gaps   int  `json:"not_seen"`
	Cannot int  `json:"this_bench_cannot"`
}

// Coverage is what of the verified graph a bench has seen.
type Coverage struct {
	Shares []Share       `json:"shares"`
	Seen   []Goal        `json:"seen"`
	Gaps   []Goal        `json:"not_seen"`
	Cannot []Unreachable `json:"this_bench_cannot"`
}

// Covered sorts the goals of a graph into seen, not seen and beyond this bench. What it cannot show is never counted as seen,
// whatever a record says: then the logic beside the unit did it, not the bench. Refuses says why a fault cannot be played.
func Covered(m *wiring.Map, logic *interlock.Config, goals []Goal, seen map[string]bool, refuses func(Goal) string) Coverage {
	made := Coverage{Seen: []Goal{}, Gaps: []Goal{}, Cannot: []Unreachable{}}
	for _, one := range goals {
		at := slices.IndexFunc(made.Shares, func(s Share) bool { return s.Kind == one.Kind })
		if at < 0 {
			at = len(made.Shares)
			made.Shares = append(made.Shares, Share{Kind: one.Kind})
		}
		share := &made.Shares[at]
		because := Cannot(m, logic, one)
		if because == "" && one.Kind == Fault && !seen[one.Text] {
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
