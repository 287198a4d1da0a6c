package live

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// Event is one thing that people are told, in words. Once told it is never
// changed.
type Event struct {
	Seq     uint64    `json:"seq"` // rises by one for each event of a session
	Run     int       `json:"run"`
	Scan    uint64    `json:"scan"`
	TimeNs  int64     `json:"time_ns"` // since the run began, on its own clock
	Lane    string    `json:"lane"`    // kind:name; empty for the session itself
	Kind    string    `json:"kind"`
	Rank    tell.Rank `json:"rank"`
	Text    string    `json:"text"`
	From    string    `json:"from,omitempty"`
	To      string    `json:"to,omitempty"`
	Causes  []string  `json:"causes"` // names that this event is about, for the filter
	First   []string  `json:"first_out,omitempty"`
	Unknown bool      `json:"order_unknown,omitempty"`
	Why     *Why      `json:"why,omitempty"`
}

// Rewound is the kind of the event that voids what was told of its run from its
// scan on.
const Rewound = "rewound"

// Question narrows what is asked of a journal. Zero values narrow nothing.
type Question struct {
	Name     string // channel, output, cause … that an event is about
	Kind     string
	Run      int
	From, To uint64 // scans; To 0 has no end
	After    uint64 // place in the journal
	Limit    int
}

// Why explains an event: the rule that acted, and the numbers that it saw.
type Why struct {
	Rule  string `json:"rule"`
	Facts []Fact `json:"facts"`
}

// Fact is one number or word of an explanation.
type Fact struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

func (w *Why) add(name, format string, args ...any) {
	w.Facts = append(w.Facts, Fact{name, fmt.Sprintf(format, args...)})
}

// JSON is the event's canonical text, the one that the journal chains.
func (e *Event) JSON() []byte {
	b, err := json.Marshal(e)
	if err != nil {
		panic(err) // plain strings and numbers
	}
	return b
}

// teller words what happened in one scan. before is the state of the scan
// before, in is what arrived.
type teller struct {
	names  *Names
	called *tell.Names
	before *interlock.State
	state  *interlock.State
	in     *interlock.Inputs
	d      *interlock.Decision
	scan   uint64
}

// scene is the scan as words are found for it.
func (t *teller) scene() *tell.Scene {
	return &tell.Scene{
		Names: t.called, Config: t.names.Config, Period: t.names.Period, Ohms: quantity.Ohms,
		In: t.in, State: t.state, Decision: t.d,
	}
}

// lanes are those that events are told of.
var lanes = map[tell.Part]LaneKind{
	tell.OfChannel: LaneChannel, tell.OfVessel: LaneVessel, tell.OfOutput: LaneOutput, tell.OfBypass: LaneBypass,
}

// event words one of the logic's events.
func (t *teller) event(e interlock.Event) Event {
	words := t.scene().Tell(&e)
	told := Event{
		Scan: t.scan, TimeNs: int64(time.Duration(t.scan) * t.names.Period),
		Kind: e.Kind.String(), Rank: tell.RankOf(&e), Text: words.String(), Causes: []string{}, First: words.FirstOut,
		Why: &Why{Rule: tell.Basis(&e)},
	}
	if lane, known := lanes[tell.About(e.Kind)]; known {
		told.Lane = string(lane) + ":" + words.Subject
	}
	switch tell.About(e.Kind) {
	case tell.OfChannel:
		told.Causes = []string{words.Subject}
		t.whyChannel(e, told.Why)
	case tell.OfVessel:
		told.Causes = append(t.called.Causes(t.names.Config.Vessels[e.Subject].BondedBy.Causes()), words.Subject)
		t.whyVessel(e, told.Why)
	case tell.OfOutput:
		told.Causes = append([]string{words.Subject}, told.First...)
		t.whyOutput(e, told.Why)
	case tell.OfBypass:
		told.Causes = []string{words.Subject, t.names.Channel(t.names.Config.Bypasses[e.Subject].Channel)}
		t.whyBypass(e, told.Why)
	}
	switch e.Kind {
	case interlock.PhaseChanged:
		told.From, told.To = monitor.Phase(e.From).String(), monitor.Phase(e.To).String()
	case interlock.OutputTripped:
		told.Unknown = t.state.Outputs[e.Subject].Trip.OrderUnknown()
	}
	return told
}

func unconfirmedTexts(u interlock.Unconfirmed) []string {
	texts := []string{}
	u.Each(func(one interlock.Unconfirmed) { texts = append(texts, tell.Unconfirmed(one)) })
	return texts
}

// values writes a permissive's causes with their values.
func values(names []string, value []interlock.Truth, at []int) string {
	parts := make([]string, len(names))
	for i, name := range names {
		parts[i] = name + " = " + value[at[i]].String()
	}
	return strings.Join(parts, ", ")
}
