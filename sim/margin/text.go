package margin

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
	"ohmgate/sim/reliability"
)

// column is where the text of an answer begins.
const column = 29

// WriteText writes the report for people: all lines, or of like ones only the
// first.
func (r *Report) WriteText(p *page.Page, all bool) {
	p.Column("", r.title(), 0)
	p.Column("", "What the interlock can still win. Intervals hold every value between; two digits, ends rounded outwards.", 0)
	if len(r.Lines) > 1 {
		r.tellOverview(p)
	}
	for i := range r.Lines {
		if !r.Lines[i].alike || all {
			p.Line("")
			r.tellLine(p, &r.Lines[i])
		}
	}
	p.Line("")
	r.tellSources(p)
	r.tellUnmonitored(p)
	if len(r.Reliability) > 0 {
		p.Line("")
		r.tellReliability(p)
	}
	p.Line("")
	p.Column("", r.summary(), 0)
}

// WriteBrief writes one row for each line, and the verdict.
func (r *Report) WriteBrief(p *page.Page) {
	p.Column("", r.title(), 0)
	r.tellOverview(p)
	defaults := map[string]bool{}
	for i := range r.Lines {
		for _, k := range r.Lines[i].Inputs {
			if k.From == FromDefault {
				defaults[k.Name+k.Path] = true
			}
		}
	}
	p.Line("")
	p.Column("", fmt.Sprintf("%s; %d inputs are defaults: without --brief each is printed with its source", r.summary(), len(defaults)), 0)
}

// WriteReliability writes the assessor's numbers alone.
func (r *Report) WriteReliability(p *page.Page) {
	p.Column("", r.title(), 0)
	r.tellReliability(p)
}

func (r *Report) title() string {
	if r.Site.Title == "" {
		return r.Site.Name
	}
	return r.Site.Name + ": " + r.Site.Title
}

func (r *Report) summary() string {
	if len(r.Lines) == 0 {
		return verdict.NothingChecked.String() + ": the site has no stream that charges a vessel; write streams: and vessels:"
	}
	counts := map[verdict.Verdict]int{}
	for i := range r.Lines {
		counts[r.Lines[i].Standing]++
	}
	text := fmt.Sprintf("%s: of %d lines %d shown, %d violated, %d not shown", r.Verdict, len(r.Lines), counts[verdict.Shown], counts[verdict.Violated], counts[verdict.NotShown])
	if r.Unanswered > 0 {
		text += fmt.Sprintf("; %d ignition sources unanswered", r.Unanswered)
	}
	return text
}

func (r *Report) tellLine(p *page.Page, l *Line) {
	p.Column(strings.ToUpper(string(l.Standing)), r.heading(l), 11)
	p.Column("  (i)   start without bond", string(l.Start.Standing)+": "+l.Start.Why, column)
	tellHoles(p, l)
	tellRising(p, &l.Rising)
	tellLoss(p, l)
	p.Column("        do not touch for", string(l.Wait.Standing)+": "+l.Wait.Why, column)
	tellDelays(p, &l.Loss)
	tellEdges(p, &l.Loss)
	tellInstead(p, &l.Loss)
	tellInputs(p, l.Inputs)
}

// tellHoles prints each hole once, with the channels that have it where not all
// of several do.
func tellHoles(p *page.Page, l *Line) {
	var texts []string
	channels := map[string][]string{}
	opens := map[string]bool{}
	for _, h := range l.Start.Holes {
		if channels[h.Text] == nil {
			texts = append(texts, h.Text)
		}
		channels[h.Text] = append(channels[h.Text], h.Channel)
		opens[h.Text] = h.Opens
	}
	for _, text := range texts {
		mark := "also not shown"
		if opens[text] {
			mark = "leaves a hole"
		}
		if who := channels[text]; len(who) < len(l.Channels) {
			text = strings.Join(who, ", ") + ": " + text
		}
		p.Column("          "+mark, text, column)
	}
}

// tellOverview is one row for each line.
func (r *Report) tellOverview(p *page.Page) {
	p.Line("")
	p.Line(page.Pad("node", 15) + page.Pad("stream", 16) + page.Pad("(i) start", 11) + page.Pad("(ii) rising", 12) + page.Pad("(iii) loss", 17) + "wait")
	for i := range r.Lines {
		l := &r.Lines[i]
		p.Line(page.Pad(page.Cut(l.Node, 14), 15) + page.Pad(page.Cut(l.Stream, 15), 16) + page.Pad(string(l.Start.Standing), 11) +
			page.Pad(string(l.Rising.Standing), 12) + page.Pad(l.Loss.Claim.String(), 17) + string(l.Wait.Standing))
	}
}

func (r *Report) heading(l *Line) string {
	text := fmt.Sprintf("%s, %s of %s", l.Node, l.Role, l.Stream)
	if l.Role == RolePart {
		text = fmt.Sprintf("%s, part of %s, charged by %s", l.Node, l.Of, l.Stream)
	} else if l.Role == RoleVessel {
		text = fmt.Sprintf("%s, charged by %s", l.Node, l.Stream)
	}
	if len(l.Alike) > 0 {
		var names []string
		for _, i := range l.Alike {
			names = append(names, r.Lines[i].Node)
		}
		text += " (alike: " + strings.Join(names, ", ") + ")"
	}
	return text
}

func tellRising(p *page.Page, a *Rising) {
	text := string(a.Standing)
	if len(a.Channels) > 0 {
		text += fmt.Sprintf(": critical from %s", atLeast(a.Critical.Lo, "Ω"))
	}
	p.Column("  (ii)  rising resistance", text+": "+a.Why, column)
	for _, c := range a.Channels {
		p.Column("          "+c.Channel, fmt.Sprintf("high from %s of bond; %s decades below the critical", c.Threshold.Text("Ω"), decadesText(c.Decades)), column)
	}
}

// decadesText rounds outwards, as everything does.
func decadesText(d interval.Interval) string {
	lo := strconv.FormatFloat(math.Floor(d.Lo*10)/10, 'f', 1, 64)
	hi := strconv.FormatFloat(math.Ceil(d.Hi*10)/10, 'f', 1, 64)
	if lo == hi {
		return lo
	}
	return lo + ".." + hi
}

// atMost and atLeast write one number with two digits, rounded so that it still
// holds.
func atMost(v float64, unit string) string  { return interval.Point(twoDigits(v, true)).Text(unit) }
func atLeast(v float64, unit string) string { return interval.Point(twoDigits(v, false)).Text(unit) }

func tellLoss(p *page.Page, l *Line) {
	a := &l.Loss
	p.Column("  (iii) abrupt loss", fmt.Sprintf("%s: %s", a.Standing, a.claimText()), column)
	row := func(head, text string) { p.Column("          "+head, text, column) }
	row("ignites after", valueText(a.TimeToIncendive, "s")+" of full current, isolated")
	if a.Outcome == nil {
		return
	}
	o := a.Outcome
	row("flow ended after", o.End.Text("s"))
	row("charge then", o.AtStop.Text("C")+"; ignites from "+o.Critical.Text("C"))
	energy := o.Energy.Text("J") + "; ignites from " + a.loss.Ignition.Energy.Text("J")
	if o.EnergyCapped != o.Energy {
		energy = o.EnergyCapped.Text("J") + " (" + o.Energy.Text("J") + " without the 30 kV cap); ignites from " + a.loss.Ignition.Energy.Text("J")
	}
	row("spark energy", energy)
	row("voltage", o.VoltageCapped.Text("V"))
	if a.Uncapped != nil {
		row("current not capped", fmt.Sprintf("%s, charge %s: %s", a.loss0().Text("A"), a.Uncapped.AtStop.Text("C"), a.Uncapped.Verdict))
	}
	if a.Stuck != nil {
		row("if "+firstWord(a.Stuck.Case)+" sticks", fmt.Sprintf("%s: %s, %s", a.Stuck.Case, a.Stuck.Energy.Text("J"), a.Stuck.Claim))
	}
	if t := a.Together; t != nil {
		row("several streams", fmt.Sprintf("%s at once, up to %s: %s, %s", strings.Join(t.Streams, ", "), atMost(t.Current.Hi, "A"), t.Energy.Text("J"), t.Claim))
	}
	if a.Remake != nil {
		row("chattering clamp", a.Remake.text())
	}
}

// loss0 is the uncapped current, A.
func (a *Loss) loss0() interval.Interval { return a.flow.uncapped }

func firstWord(text string) string { return strings.Fields(text)[0] }

func (a *Loss) claimText() string {
	text := a.Claim.String()
	if a.Claim == charge.Depends && len(a.DependsOn) > 0 {
		text = "depends on " + a.inputText(a.DependsOn[0].Input)
	}
	if a.Why != "" {
		text += "; " + a.Why
	}
	return text
}

// inputText is an input as people read it: the travel that decides is all the
// time in which flow dies away, with the run-down over which it is stretched.
func (a *Loss) inputText(input string) string {
	if input == charge.InputTravel.String() {
		for _, d := range a.Delays {
			if d.afterStop {
				return input + "+run-down"
			}
		}
	}
	return input
}

func (r *Remake) text() string {
	text := fmt.Sprintf("each re-make after a gap of at most %s is a spark of up to %s: %s; harmless below %s", atMost(r.Gap.Hi, "s"), atMost(r.Energy.Hi, "J"), r.Claim, atLeast(r.HarmlessGap, "s"))
	if r.Of > 0 && r.Tolerated > 0 {
		text += fmt.Sprintf("; %d of %d readings may be bad for ever", r.Tolerated, r.Of)
	}
	return text
}

func tellDelays(p *page.Page, a *Loss) {
	if len(a.Delays) == 0 {
		return
	}
	head := "from loss to no flow, stopped by " + strings.Join(a.Stops, ", ")
	if len(a.Stops) == 0 {
		head = "from loss to no flow, stopped by nothing"
	}
	p.Column("", head, 8)
	for _, d := range a.Delays {
		text := remark(d.Time.Text("s"), d.From, d.Why)
		p.Column("          "+d.Name, text, 47)
	}
	for _, c := range a.Classes {
		p.Column(fmt.Sprintf("          loss read as %s", c.Class.Class), fmt.Sprintf("caught within %s, %s: %s", atMost(c.Detection, "s"), c.Energy.Text("J"), c.Claim), 34)
	}
}

func tellEdges(p *page.Page, a *Loss) {
	if len(a.DependsOn) == 0 {
		return
	}
	p.Line("        break-even, the others as they are")
	for _, e := range a.DependsOn {
		p.Column("          "+a.inputText(e.Input), e.text(), column)
	}
}

func (e *Edge) text() string {
	below, above := "up to", "from"
	if !e.Rising {
		below, above = "from", "up to"
	}
	var parts []string
	tell := func(word, side string, at *float64, up bool, as []Quantity) {
		if at == nil {
			return
		}
		write := atLeast
		if up {
			write = atMost
		}
		text := fmt.Sprintf("%s %s %s", word, side, write(*at, e.Unit))
		for _, q := range as {
			text += fmt.Sprintf(" (%s %s)", q.Name, write(q.Value, q.Unit))
		}
		parts = append(parts, text)
	}
	tell("wins everywhere", below, e.WinsAt, !e.Rising, e.WinsAs)
	tell("loses everywhere", above, e.LosesAt, e.Rising, e.LosesAs)
	return strings.Join(parts, ", ")
}

func tellInstead(p *page.Page, a *Loss) {
	if a.Outcome == nil || a.Claim == charge.WinsEverywhere {
		return
	}
	p.Line("        what would win instead, each recomputed")
	for _, one := range a.Instead {
		text := one.Text
		if one.Value != nil {
			text += " " + interval.Point(*one.Value).Text(one.Unit)
		}
		text += fmt.Sprintf(": %s, %s", one.Energy.Text("J"), one.Claim)
		if one.TimeToIncendive != nil {
			text += fmt.Sprintf("; ignites after %s", valueText(*one.TimeToIncendive, "s"))
		}
		p.Column("          -", text, 12)
	}
}

func tellInputs(p *page.Page, inputs []Known) {
	p.Line("        inputs")
	for _, k := range inputs {
		value := k.Text
		if k.Value != nil {
			value = valueText(*k.Value, k.Unit)
		}
		p.Column("          "+k.Name, remark(value, k.From, k.Why), 40)
	}
}

// valueText writes an interval; plain numbers without an exponent, long times in
// minutes or hours.
func valueText(x interval.Interval, unit string) string {
	switch {
	case unit == "" && x.IsPoint():
		return strconv.FormatFloat(twoDigits(x.Lo, true), 'g', -1, 64)
	case unit == "":
		return strconv.FormatFloat(twoDigits(x.Lo, false), 'g', -1, 64) + ".." + strconv.FormatFloat(twoDigits(x.Hi, true), 'g', -1, 64)
	case unit == "s" && x.Hi >= 7200 && x.Finite():
		return timeText(x)
	}
	return x.Text(unit)
}

// remark is a value with where it comes from; defaults stand out.
func remark(value, from, why string) string {
	switch {
	case from == FromDefault && why != "":
		return value + ", DEFAULT: " + why
	case from == FromDefault:
		return value + ", DEFAULT"
	case why != "":
		return value + ", " + why
	}
	return value
}

func (r *Report) tellSources(p *page.Page) {
	p.Line("Ignition sources that no bond of a vessel removes (ignition_sources)")
	for _, s := range r.Sources {
		text := s.Answer
		if text == "" {
			text = "UNANSWERED: " + s.Asks + "?"
		}
		p.Column("  "+s.Key, text+" ["+s.Known+"]", 21)
	}
}

func (r *Report) tellUnmonitored(p *page.Page) {
	if len(r.Unmonitored) == 0 {
		return
	}
	p.Line("Parts that no channel watches: they rest on inspection")
	for _, u := range r.Unmonitored {
		text := fmt.Sprintf("of %s, %s", u.Of, u.Bonded)
		if u.Floats != "" {
			text += "; floats: " + u.Floats
		}
		p.Column("  "+u.Part, text, 21)
	}
}

func (r *Report) tellReliability(p *page.Page) {
	if len(r.Reliability) == 0 {
		p.Column("", "nothing checked: the site has no reliability: section with failure rates of your own", 0)
		return
	}
	p.Line("Numbers for the assessor, from your own failure rates")
	for i := range r.Reliability {
		a := &r.Reliability[i]
		p.Line("")
		p.Column(strings.ToUpper(string(a.Standing)), a.Function+", "+a.Demand+" demand: "+a.Why, 11)
		p.Line(page.Pad("  group", 22) + page.Pad("PFDavg", 9) + page.Pad("PFH 1/h", 9) + page.Pad("spurious 1/h", 14) + "bands PFD, PFH")
		for _, g := range a.Result.Groups {
			p.Line(reliabilityRow("  "+g.Name, g))
		}
		p.Line(reliabilityRow("  all", a.Result))
		for _, w := range a.Result.Warnings {
			p.Column("  "+w.ID, w.Group+": "+w.Text+" ["+w.Source+"]", 12)
		}
	}
	p.Column("", "A number in a band is no claim of a safety integrity level.", 0)
}

func reliabilityRow(name string, g reliability.Result) string {
	number := func(v float64) string { return strconv.FormatFloat(v, 'e', 1, 64) }
	row := page.Pad(page.Cut(name, 21), 22) + page.Pad(number(g.PFD), 9) + page.Pad(number(g.PFH), 9) + page.Pad(number(g.SpuriousTripRate), 14)
	return row + bandCell(g.PFDBand) + ", " + bandCell(g.PFHBand)
}

// bandCell is a band as short as a table needs it: two of them end a row.
func bandCell(b reliability.Band) string {
	switch b {
	case reliability.NoBand:
		return "none"
	case reliability.BelowSIL4:
		return "below SIL 4"
	}
	return strings.TrimSuffix(b.String(), " band")
}
