package opinion

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// memoryOf states the settings of a channel and what it keeps between scans, but
// for how long it has been doubtful.
func (s *Source) memoryOf(c *monitor.Config) {
	s.number("MISSING INVALID OPEN HIGH BETWEEN GOOD")
	s.number("UNCONNECTED SETTLING BONDED DOUBTFUL LOST UNREADABLE SAME")
	s.constant("STALE_AFTER", uint64(c.StaleAfter))
	s.constant("SETTLE_SCANS", uint64(c.SettleScans))
	s.constant("SETTLE_READINGS", uint64(c.SettleReadings))
	s.constant("SETTLE_PAUSE", uint64(c.SettlePause))
	s.constant("FULL", uint64(c.Full))
	s.constant("REPAY", uint64(c.Repay))
	s.constant("LONGEST_STAY", uint64(c.LongestStay))
	for class := monitor.Missing; class <= monitor.High; class++ {
		s.constant("COST_"+strings.ToUpper(class.String()), uint64(c.Cost[class]))
	}
	s.keep(5, "phase cls")
	s.keep(uint64(c.StaleAfter)+1, "age")
	s.keep(uint64(c.SettleScans), "srun")
	s.keep(uint64(c.SettleReadings), "scount")
	s.keep(uint64(c.SettlePause), "paused")
	s.keep(uint64(c.Full), "doubt")
}

// channel states the channel in full detail, and the permissive that hangs on it.
func (s *Source) channel(p *verify.Piece) {
	c := &p.Config
	s.memoryOf(c)
	s.number("NO UNKNOWN YES")
	s.flag("BYPASSED", p.Bypassed)
	s.flag("COVERS_LOST", p.CoversLost)
	s.flag("CUT", p.Cut)
	s.keep(1, "parted")
	s.hears(p.News())
	s.count("stay", p.Doubtful, uint64(c.LongestStay), "phase == DOUBTFUL && ")
	s.chooseEvidence("evid", p)
	s.choose("stands", upTo(1+toNumber(p.Bypassed))...)
	s.left["PERM"] = p.Perm
	s.choose("nth", upTo(uint64(len(p.Perm)))...)
	for _, part := range strings.Fields("channel parted fit permissive") {
		s.add(part, 0)
	}
}

// chooseEvidence is what the object evidence says, yes where there is none.
func (s *Source) chooseEvidence(name string, p *verify.Piece) {
	if p.Evidence {
		s.choose(name, 0, 1, 2)
	} else {
		s.choose(name, 2)
	}
}

// output states what the output is in both kinds: its command, its actuator's
// reports, and what was latched of them.
func (s *Source) output(p *verify.Piece) {
	o := &p.Out
	s.number("KEPT_OUT TRIPPED ENABLED")
	s.flag("CONFIRMABLE", p.Confirmable())
	s.flag("AUTOMATIC", o.Automatic)
	s.flag("HAS_START", o.Start != 0)
	s.constant("ON_DELAY", uint64(o.OnDelay))
	s.constant("TRAVEL", uint64(o.Travel))
	s.keep(2, "mode")
	s.keep(1, "so ss uc uo seenAway seenHome waway whome")
	s.choose("report", upTo(reports(p))...)
	s.count("disagree", p.Travel, uint64(o.Travel)+1, "")
	s.add("ends", 0)
}

// reports is how many different things the end switches can say: 0 stopped, 1
// running, 2 a switch is unknown, 3 neither; and, which only a stream can tell
// from 2, 4 one switch is unknown and the other says that it is not stopped.
func reports(p *verify.Piece) uint64 {
	switch {
	case !p.Confirmable():
		return 1
	case p.Out.Closed == 0 || p.Out.Opened == 0:
		return 3
	case p.Kind == "wait":
		return 5
	}
	return 4
}

// buttons states the rest of an output of which nothing is free but what comes
// from outside: delays, buttons, and what they have armed.
func (s *Source) buttons(p *verify.Piece) {
	o := &p.Out
	s.number("B_UNSEEN B_IDLE B_PRESSED B_SPOILED B_GIVEN")
	s.number("P_SPOILED P_IDLE P_DOWN P_UP")
	s.constant("PRESS_MIN", uint64(o.Press.Min))
	s.constant("PRESS_MAX", uint64(o.Press.Max))
	s.keep(1, "ready armed startLow released")
	s.keep(4, "bphase")
	s.keep(3, "wpress")
	s.keep(1, "warmed wwas wstart")
	s.keep(2, "wbutton")
	s.chooseShared(o.Stop != 0)
	s.choose("ended", 0, 1).only(1, "mode == ENABLED")
	s.chooseButtons(o.Reset != 0, o.Start != 0)
	s.count("on", p.OnDelay, uint64(o.OnDelay)+1, "mode != ENABLED && ")
	s.count("held", p.Held, uint64(max(o.Press.Max, 1)), "mode != ENABLED && bphase == B_PRESSED && ")
	for _, part := range strings.Fields("latch press confirm button run judge judge_reset") {
		s.add(part, 0)
	}
	if slices.Contains(s.judged, model.PropertyBoot) {
		s.boot(p)
	}
}

// boot states property 1, which counts readings in a memory of its own.
func (s *Source) boot(p *verify.Piece) {
	s.keep(uint64(p.Config.SettleScans), "wscans")
	s.keep(uint64(p.Config.SettleReadings), "wreadings")
	s.keep(1, "wproven")
	s.add("boot", 0)
	s.add("judge_boot", 0)
}

// chooseShared is what withholds from outside: nothing, a wait, a stop, or what
// trips (overrun, power-up, a call as backup).
func (s *Source) chooseShared(stop bool) {
	values := []uint64{0, 1, 3}
	if stop {
		values = []uint64{0, 1, 2, 3}
	}
	shared := s.choose("shared", values...)
	shared.only(1, "mode == ENABLED")
	shared.only(2, "mode == ENABLED")
}

// chooseButtons: 0 a fresh 0, 1 a fresh 1, 2 unknown, 3 a gap, which repeats
// what stood before. Of the start input nothing is remembered: 2 a repeated 0, 3
// a repeated 1, 4 unknown.
func (s *Source) chooseButtons(reset, start bool) {
	if reset {
		s.choose("reset", upTo(4)...).only(3, "wbutton != 0")
	} else {
		s.choose("reset", 2)
	}
	if start {
		s.choose("begun", upTo(5)...)
	} else {
		s.choose("begun", 4)
	}
}

// brief states what is free in an output whose buttons and on-delay are
// forgotten between scans.
func (s *Source) brief(p *verify.Piece) {
	o := &p.Out
	stages := upTo(3 + toNumber(o.Reset != 0))
	button := s.choose("stage", stages...)
	for _, v := range stages[1:] {
		button.only(v, "mode != ENABLED")
	}
	s.choose("begins", upTo(1+toNumber(o.Start != 0))...).only(1, "mode != ENABLED")
	outside := []uint64{0}
	if p.OtherVessels {
		outside = append(outside, 1)
	}
	if o.Stop != 0 {
		outside = append(outside, 2)
	}
	s.choose("outside", append(outside, 3)...)
}

// vessel states the streams and the charge memory.
func (s *Source) vessel(p *verify.Piece) {
	v := &p.Charged
	s.constant("WAIT", uint64(v.Wait))
	s.flag("IN_VESSEL", p.InVessel)
	s.flag("ACKNOWLEDGED", v.Acknowledge != 0)
	s.add("flow", 0)
	for i := range p.Streams {
		s.stream(i+1, &p.Streams[i])
	}
	s.choose("further", upTo(1+2*toNumber(p.FreeStreams))...)
	s.choose("others_run", upTo(1+toNumber(p.OtherStreams))...)
	s.left["BOND"] = p.Bond
	s.choose("nth_bond", upTo(uint64(len(p.Bond)))...)
	s.chooseEvidence("earthed", p)
	s.choose("others_again", upTo(1+toNumber(p.OthersBond))...)
	s.choose("acknowledge", upTo(1+toNumber(v.Acknowledge != 0))...).only(1, "early == 1")
	s.keep(1, "uncharged vheld early wpaid wsteady wearly")
	s.count("waited", p.Waited, uint64(v.Wait)+1, "")
	for _, part := range strings.Fields("vessel latch confirm brief run judge judge_wait") {
		s.add(part, 0)
	}
}

// stream states one stream that charges the vessel.
func (s *Source) stream(n int, st *verify.PieceStream) {
	name := func(text string) string { return fmt.Sprintf("%s_%d", text, n) }
	s.flag(name("THROUGH"), st.Through)
	s.flag(name("OTHERS"), st.Others)
	s.flag(name("REPORTED"), st.Confirmable)
	s.constant(name("RUN_DOWN"), uint64(st.RunDown))
	s.choose(name("others_stop"), upTo(1+toNumber(st.Others))...)
	s.choose(name("others_shut"), upTo(1+toNumber(st.Others))...)
	s.choose(name("flow"), upTo(1+2*toNumber(st.Flow))...)
	s.count(name("stopped"), st.Stopped, uint64(st.RunDown)+1, "")
	s.add("stream", n)
}

// hears lets the news be any of these in every scan.
func (s *Source) hears(news []monitor.Class) { s.choose("news", numbersOf(news)...) }

func numbersOf(classes []monitor.Class) (list []uint64) {
	for _, class := range classes {
		list = append(list, uint64(class))
	}
	return list
}
