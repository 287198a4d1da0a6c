package live

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Rank is what an event asks of people, after IEC 60073: it decides the colour,
// and is always written beside it.
type Rank string

const (
	RankNote     Rank = "note"     // neutral
	RankTodo     Rank = "todo"     // blue: somebody has to do something
	RankAbnormal Rank = "abnormal" // yellow
	RankAct      Rank = "act"      // red: immediate action
)

// Event is one thing that people are told, in words. Once told it is never
// changed.
type Event struct {
	Seq     uint64   `json:"seq"` // rises by one for each event of a session
	Run     int      `json:"run"`
	Scan    uint64   `json:"scan"`
	TimeNs  int64    `json:"time_ns"` // since the run began, on its own clock
	Lane    string   `json:"lane"`    // kind:name; empty for the session itself
	Kind    string   `json:"kind"`
	Rank    Rank     `json:"rank"`
	Text    string   `json:"text"`
	From    string   `json:"from,omitempty"`
	To      string   `json:"to,omitempty"`
	Causes  []string `json:"causes"` // names that this event is about, for the filter
	First   []string `json:"first_out,omitempty"`
	Unknown bool     `json:"order_unknown,omitempty"`
	Why     *Why     `json:"why,omitempty"`
}

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
	before *interlock.State
	state  *interlock.State
	in     *interlock.Inputs
	d      *interlock.Decision
	scan   uint64
}

// subject is what each kind of event is about.
var subject = map[interlock.Kind]LaneKind{
	interlock.PhaseChanged: LaneChannel, interlock.AboveAccept: LaneChannel, interlock.SettlingAgain: LaneChannel,
	interlock.MayBeCharged: LaneVessel, interlock.WaitBegan: LaneVessel, interlock.WaitOver: LaneVessel,
	interlock.ReconnectedEarly: LaneVessel, interlock.Acknowledged: LaneVessel, interlock.AcknowledgeIgnored: LaneVessel,
	interlock.Released: LaneVessel, interlock.ReleasedTooSoon: LaneVessel,
	interlock.OutputEnabled: LaneOutput, interlock.OutputTripped: LaneOutput, interlock.OutputReleased: LaneOutput,
	interlock.OutputStopped: LaneOutput, interlock.ResetGiven: LaneOutput, interlock.ResetIgnored: LaneOutput,
	interlock.StartIgnored: LaneOutput, interlock.ActuatorUnconfirmed: LaneOutput, interlock.ActuatorReported: LaneOutput,
	interlock.BypassBegan: LaneBypass, interlock.BypassEnding: LaneBypass, interlock.BypassEnded: LaneBypass, interlock.BypassIgnored: LaneBypass,
}

// rankOf is the rank of kinds that have only one.
var rankOf = map[interlock.Kind]Rank{
	interlock.Overrun: RankAbnormal, interlock.AboveAccept: RankTodo, interlock.SettlingAgain: RankNote,
	interlock.MayBeCharged: RankAct, interlock.ReconnectedEarly: RankAct, interlock.ReleasedTooSoon: RankAbnormal,
	interlock.OutputTripped: RankAbnormal, interlock.ResetIgnored: RankTodo, interlock.AcknowledgeIgnored: RankTodo,
	interlock.StartIgnored: RankTodo, interlock.BypassBegan: RankAbnormal, interlock.BypassEnding: RankTodo, interlock.BypassIgnored: RankTodo,
}

// event words one of the logic's events.
func (t *teller) event(e interlock.Event) Event {
	told := Event{
		Scan: t.scan, TimeNs: int64(time.Duration(t.scan) * t.names.Period),
		Kind: e.Kind.String(), Rank: RankNote, Causes: []string{},
	}
	if rank, fixed := rankOf[e.Kind]; fixed {
		told.Rank = rank
	}
	switch subject[e.Kind] {
	case LaneChannel:
		t.channel(e, &told)
	case LaneVessel:
		t.vessel(e, &told)
	case LaneOutput:
		t.output(e, &told)
	case LaneBypass:
		t.bypass(e, &told)
	default:
		told.Text = told.Kind
		told.Why = &Why{Rule: "everything is withheld in such a scan, whatever the connections are"}
	}
	return told
}

func (t *teller) channel(e interlock.Event, told *Event) {
	name := t.names.Channel(e.Subject)
	told.Lane, told.Causes = string(LaneChannel)+":"+name, []string{name}
	told.Why = t.whyChannel(e)
	switch e.Kind {
	case interlock.PhaseChanged:
		from, to := monitor.Phase(e.From), monitor.Phase(e.To)
		told.From, told.To = from.String(), to.String()
		told.Text = name + " is " + told.To
		if from.MayKeep() && !to.MayKeep() {
			told.Text += ", mostly for readings that were " + e.Cause.String()
		}
		if to == monitor.Doubtful || to == monitor.Lost || to == monitor.Unreadable {
			told.Rank = RankAbnormal
		}
	case interlock.AboveAccept:
		told.Text = name + " reads under the limit, but above accept: clean the contact"
	case interlock.SettlingAgain:
		told.Text = name + " starts to settle again"
	}
}

func (t *teller) vessel(e interlock.Event, told *Event) {
	name := t.names.Vessel(e.Subject)
	told.Lane = string(LaneVessel) + ":" + name
	set := t.names.Config.Vessels[e.Subject].BondedBy.Causes()
	told.Causes = append(t.names.Causes(&set), name)
	told.Why = t.whyVessel(e)
	switch e.Kind {
	case interlock.MayBeCharged:
		told.Text = name + " may be charged: do not touch"
	case interlock.WaitBegan:
		told.Text = fmt.Sprintf("wait over %s began: do not touch for %s", name, Clock(t.scansLong(t.names.Config.Vessels[e.Subject].Wait)))
	case interlock.ReconnectedEarly:
		told.Text = name + " was reconnected early: that is the dangerous act itself"
	case interlock.AcknowledgeIgnored:
		told.Text = "acknowledge of " + name + " ignored: " + e.Spoil.String()
	case interlock.ReleasedTooSoon:
		told.Text = name + " was unclamped before its rest was over"
	default:
		told.Text = name + ": " + told.Kind
	}
}

func (t *teller) scansLong(n interlock.Scans) time.Duration {
	return time.Duration(n) * t.names.Period
}

func (t *teller) output(e interlock.Event, told *Event) {
	name := t.names.Output(e.Subject)
	told.Lane = string(LaneOutput) + ":" + name
	told.Why = t.whyOutput(e)
	told.Causes = []string{name}
	switch e.Kind {
	case interlock.OutputTripped:
		trip := &t.state.Outputs[e.Subject].Trip
		told.First, told.Unknown = t.names.Causes(&trip.FirstOut), trip.OrderUnknown()
		told.Causes = append(told.Causes, told.First...)
		told.Text = name + " tripped: " + t.tripText(told.First, trip)
	case interlock.ResetIgnored:
		told.Text = "reset of " + name + " ignored: " + e.Spoil.String()
	case interlock.StartIgnored:
		told.Text = "start of " + name + " ignored: " + and(reasonTexts(e.Reasons))
	case interlock.ActuatorUnconfirmed:
		told.Rank = RankAbnormal
		if e.Unconfirmed&(interlock.StayedOpen|interlock.UnknownClosed) != 0 {
			told.Rank = RankAct
		}
		told.Text = name + " unconfirmed: " + and(unconfirmedTexts(e.Unconfirmed))
	default:
		told.Text = name + ": " + told.Kind
	}
}

func (t *teller) tripText(first []string, trip *interlock.TripRecord) string {
	if len(first) > 0 {
		return "first-out " + and(first)
	}
	return and(reasonTexts(trip.Why))
}

func (t *teller) bypass(e interlock.Event, told *Event) {
	b := &t.names.Config.Bypasses[e.Subject]
	name, channel := t.names.Bypass(e.Subject), t.names.Channel(b.Channel)
	told.Lane = string(LaneBypass) + ":" + name
	told.Causes = []string{name, channel}
	told.Text = fmt.Sprintf("%s on %s", told.Kind, channel)
	told.Why = &Why{Rule: "a bypass begins with a fresh press after its gap and ends by time alone"}
	told.Why.add("active", "%s of %s", t.names.Long(t.state.Bypasses[e.Subject].Active), t.names.Long(b.For))
	told.Why.add("covers", "%s", map[bool]string{false: "unreadable", true: "unreadable and lost"}[b.CoversLost])
}

func reasonTexts(r interlock.Reasons) []string {
	texts := []string{}
	r.Each(func(one interlock.Reason) { texts = append(texts, one.String()) })
	return texts
}

func unconfirmedTexts(u interlock.Unconfirmed) []string {
	texts := []string{}
	for _, known := range [...]struct {
		bit  interlock.Unconfirmed
		text string
	}{
		{interlock.StayedOpen, "withheld, and not reported stopped in time"},
		{interlock.StayedShut, "enabled, and not reported running in time"},
		{interlock.UnknownClosed, "withheld, and its switches say nothing usable"},
		{interlock.UnknownOpen, "enabled, and its switches say nothing usable"},
	} {
		if u&known.bit != 0 {
			texts = append(texts, known.text)
		}
	}
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
