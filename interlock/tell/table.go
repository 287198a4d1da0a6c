// Package tell puts what the logic tells into words: each kind of event, reason
// and state once, for every reader.
//
// Picture the one dictionary of a control room. The operator's page, the shift
// book, the recorder and the test sheet all take their words from it, so that the
// same thing is never called by two names. Two ways of saying are in it: a record,
// short and never reworded because files hold it, and a line for people, with the
// numbers of the scan and what to do. Nothing here decides anything, and nobody
// reads a decision back out of these words: the events are values.
package tell

import (
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Part is what an event is about.
type Part uint8

const (
	OfSite Part = iota + 1 // the whole logic
	OfChannel
	OfVessel
	OfOutput
	OfBypass
)

// Rank is what an event asks of people, after IEC 60073: it decides the colour,
// and is always written beside it.
type Rank string

const (
	Note     Rank = "note"     // neutral
	Todo     Rank = "todo"     // blue: somebody has to do something
	Abnormal Rank = "abnormal" // yellow
	Act      Rank = "act"      // red: immediate action
)

// Ranks lists the ranks, the quietest first.
var Ranks = [...]Rank{Note, Todo, Abnormal, Act}

// Words is a rank as people read it.
func (r Rank) Words() string {
	switch r {
	case Todo:
		return "to do"
	case Act:
		return "act at once"
	}
	return string(r)
}

// sense tells something wrong from something done.
type sense uint8

const (
	done sense = iota + 1
	wrong
)

// kind is everything about one kind of event.
type kind struct {
	part  Part
	sense sense
	rank  Rank
	rule  string // in a few words, after the headings of SEMANTICS.md
	basis string // the rule as a sentence
	// what happened, where the name that records keep is not enough, and what
	// people should do or not do; ${…} is filled in from the scan.
	what, do string
	// reasons are those that say why it happened. What a press needs anyway says
	// nothing about why it was ignored.
	reasons interlock.Reasons
}

// Rules that several kinds share.
const (
	chargeMemory = "charge memory"
	keepAlways   = "everything is withheld in such a scan, whatever the connections are"
	aBypass      = "a bypass begins with a fresh press after its gap and ends by time alone"
)

var kinds = [interlock.Kinds]kind{
	interlock.PowerUp: {part: OfSite, sense: wrong, rank: Note, rule: "power-up withholds", basis: keepAlways},
	interlock.Overrun: {part: OfSite, sense: wrong, rank: Abnormal, rule: "overrun withholds", basis: keepAlways},

	// The rule of a change of phase is its line of the chart.
	interlock.PhaseChanged: {part: OfChannel, sense: done, rank: Note, what: "${from} -> ${to}, ${class}${mostly}"},
	interlock.AboveAccept: {
		part: OfChannel, sense: wrong, rank: Todo, rule: "accept, not reject, makes a bond",
		basis: "between accept and reject is neither good nor bad: it never makes a bond",
		what:  "reads ${reading}, under the limit but above accept ${accept}", do: "clean the contact",
	},
	interlock.SettlingAgain: {
		part: OfChannel, sense: wrong, rank: Note, rule: "above accept, settling starts again",
		basis: "a reading above accept restarts the settle time",
	},

	interlock.MayBeCharged: {
		part: OfVessel, sense: done, rank: Act, rule: chargeMemory,
		basis: "a loss of the bond while a stream that charges it is not confirmed stopped, or flow without a bond",
		do:    "do not touch; ${waiting}",
	},
	interlock.WaitBegan: {
		part: OfVessel, sense: done, rank: Note, rule: chargeMemory,
		basis: "counted from the confirmed end of flow and its run-down; any sign of flow starts it again",
		what:  "wait began, flow has ended", do: "do not touch for ${wait}",
	},
	interlock.WaitOver: {
		part: OfVessel, sense: done, rank: Note, rule: chargeMemory,
		basis: "the whole wait has passed since the confirmed end of flow",
	},
	interlock.ReconnectedEarly: {
		part: OfVessel, sense: wrong, rank: Act, rule: chargeMemory,
		basis: "a parted connection read good again before the wait was over",
		what:  "reconnected early, during the wait", do: "if it was put back, that was the dangerous act${acknowledge}",
	},
	interlock.Acknowledged: {
		part: OfVessel, sense: done, rank: Note, rule: "own acknowledgement", basis: "a deliberate press of its own acknowledge",
	},
	interlock.AcknowledgeIgnored: {
		part: OfVessel, sense: wrong, rank: Todo, rule: "own acknowledgement", basis: "only a deliberate press counts",
	},
	interlock.Released: {
		part: OfVessel, sense: done, rank: Note, rule: "unclamped after the end",
		basis: "unclamped after the confirmed end of flow and its rest: no loss, no wait",
	},
	interlock.ReleasedTooSoon: {
		part: OfVessel, sense: wrong, rank: Abnormal, rule: "unclamped after the end",
		basis: "unclamped after the confirmed end of flow, but before its rest was over",
	},

	interlock.OutputEnabled: {
		part: OfOutput, sense: done, rank: Note, rule: "start",
		basis: "its permissive over fit-to-start was true for the on-delay, its restart rule is met, no wait runs, nothing is unconfirmed",
	},
	interlock.OutputTripped: {
		part: OfOutput, sense: wrong, rank: Abnormal, rule: "keep", reasons: interlock.AllReasons,
		basis: "withheld in the very scan in which something that it needs was not true",
	},
	interlock.OutputReleased: {
		part: OfOutput, sense: done, rank: Note, rule: "keep, flow ended before", reasons: interlock.AllReasons,
		basis: "its permissive went after every stream through it had ended and run down: no trip",
	},
	interlock.OutputStopped: {part: OfOutput, sense: wrong, rank: Note, rule: "stop asked for", basis: "a stop was asked for"},
	interlock.ResetGiven: {
		part: OfOutput, sense: done, rank: Note, rule: "reset",
		basis: "a deliberate press, seen from 0 to 1 and back, with every condition true throughout",
	},
	interlock.ResetIgnored: {
		part: OfOutput, sense: wrong, rank: Todo, rule: "reset", reasons: interlock.AllReasons &^ (interlock.ReasonReset | interlock.ReasonStart),
		basis: "a press counts only when every condition was true before it and through it",
	},
	interlock.StartIgnored: {
		part: OfOutput, sense: wrong, rank: Todo, rule: "start", reasons: interlock.AllReasons &^ interlock.ReasonStart,
		basis: "a start counts only when nothing else withholds",
	},
	interlock.ActuatorUnconfirmed: {
		part: OfOutput, sense: wrong, rank: Abnormal, rule: "confirmation",
		basis: "the actuator did not report its end within the travel time; stands until both ends were seen and a reset",
	},
	interlock.ActuatorReported: {
		part: OfOutput, sense: done, rank: Note, rule: "confirmation",
		basis: "the ends that were missing have been seen; a reset is still needed",
	},

	interlock.BypassBegan:   {part: OfBypass, sense: wrong, rank: Abnormal, rule: "bypass", basis: aBypass, what: "bypass began on ${channel}"},
	interlock.BypassEnding:  {part: OfBypass, sense: wrong, rank: Todo, rule: "bypass", basis: aBypass, what: "bypass ending on ${channel}"},
	interlock.BypassEnded:   {part: OfBypass, sense: done, rank: Note, rule: "bypass", basis: aBypass, what: "bypass ended on ${channel}"},
	interlock.BypassIgnored: {part: OfBypass, sense: wrong, rank: Todo, rule: "bypass", basis: aBypass, what: "bypass ignored on ${channel}"},
}

// triggers is the channel's chart by phases.
var triggers = func() (table [monitor.Phases][monitor.Phases]string) {
	for _, edge := range monitor.Chart() {
		table[edge.From][edge.To] = edge.Trigger
	}
	return table
}()

// About is what events of a kind are about; zero for no event.
func About(k interlock.Kind) Part { return kinds[k].part }

// Rule is what made an event, in a few words.
func Rule(e *interlock.Event) string {
	if e.Kind == interlock.PhaseChanged {
		return triggers[e.From][e.To]
	}
	return kinds[e.Kind].rule
}

// Basis is what made an event, as a sentence.
func Basis(e *interlock.Event) string {
	if e.Kind == interlock.PhaseChanged {
		return Rule(e)
	}
	return kinds[e.Kind].basis
}

// RankOf is what an event asks of people.
func RankOf(e *interlock.Event) Rank {
	switch {
	case e.Kind == interlock.PhaseChanged && troubled(monitor.Phase(e.To)):
		return Abnormal
	case Ways(e).CallsBackup():
		return Act
	}
	return kinds[e.Kind].rank
}

func troubled(p monitor.Phase) bool {
	return p == monitor.Doubtful || p == monitor.Lost || p == monitor.Unreadable
}

// Wrong says that an event tells of something wrong, not of something done.
func Wrong(e *interlock.Event) bool {
	if e.Kind == interlock.PhaseChanged {
		return monitor.Phase(e.To) != monitor.Bonded && monitor.Phase(e.To) != monitor.Settling
	}
	return kinds[e.Kind].sense == wrong
}

// Spoiled is why a press did not count. A start that nothing withholds in its scan
// came too early: something did in the scan before.
func Spoiled(e *interlock.Event) interlock.Spoil {
	switch e.Kind {
	case interlock.ResetIgnored, interlock.AcknowledgeIgnored:
		return e.Spoil
	case interlock.StartIgnored:
		if Reasons(e) == 0 {
			return interlock.TooEarly
		}
	}
	return interlock.NotSpoiled
}

// Ways are those in which an actuator failed to report. Other events of the same
// output and scan carry them along; only its own is about them.
func Ways(e *interlock.Event) interlock.Unconfirmed {
	if e.Kind == interlock.ActuatorUnconfirmed {
		return e.Unconfirmed
	}
	return 0
}

// Reasons are those of an event's reasons that say why it happened.
func Reasons(e *interlock.Event) interlock.Reasons { return e.Reasons & kinds[e.Kind].reasons }
