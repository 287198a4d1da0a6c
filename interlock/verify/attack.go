package verify

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// What is judged by the graph of one channel alone has its runs there: the
// fewest readings to a bond, the longest way that is bad, the shortest dip that
// is not forgiven. Each way is put on the channels of the whole site, from
// power-up or from where the output runs, and is a run only if the observer sees
// it there.

// attack looks for a run where the property says that one is likely: on the site, or
// in the ways of every needed channel, first in those that its graph says are wrong.
func (v *verification) attack(q goal, p *Property) *runs.Run {
	if p.attack.ofSite != nil {
		return p.attack.ofSite(v.falsifierOf(q))
	}
	for _, ch := range v.Model.Needed(q.output) {
		t, err := v.ChannelTable(&v.Model.Config.Channels[ch].Config)
		if err != nil {
			continue
		}
		f, wrong := v.falsifierOf(q), v.misjudges(ch)
		for _, seen := range p.shownBy() {
			if run := f.sequence(0, ch, wrong[seen].news); run != nil {
				return run
			}
		}
		for _, look := range p.attack.ofOne {
			if run := look(f, t, ch); run != nil {
				return run
			}
		}
	}
	return nil
}

// misjudges is what the graph of a channel says against its account, found once
// for each setting.
func (v *verification) misjudges(channel int) [model.MaxProperties]misjudged {
	c := v.Model.Config.Channels[channel].Config
	if found, known := v.judged[c]; known {
		return found
	}
	var found [model.MaxProperties]misjudged
	if t, err := v.ChannelTable(&c); err == nil {
		found = misjudges(t, v.Options.MemoryLimit())
	}
	if says := misheard(monitor.Hear, &c); says != "" {
		found[model.PropertyResponse] = misjudged{says: says}
	}
	if says := misstamped(monitor.Step, &c); says != "" {
		found[model.PropertyResponse] = misjudged{says: says}
	}
	v.judged[c] = found
	return found
}

// misjudged lets a result say how a needed channel breaks a property.
func (v *verification) misjudged(output int, property model.Property, r *Result) *Result {
	channels := v.Model.Needed(output)
	for _, vessel := range v.Model.Config.VesselsOf(output) {
		for _, ch := range v.Model.ChannelsOf(output, vessel) {
			channels = model.AppendNew(channels, ch)
		}
	}
	for _, ch := range channels {
		found := v.misjudges(ch)[property]
		switch {
		case r.Verdict == Violated:
		case found.says != "":
			r.Verdict, r.Says = Violated, v.Model.Names.Channels[ch]+" "+found.says
		case found.err != nil:
			r.Verdict, r.Says = Worse(r.Verdict, NotShown), found.err.Error()
		}
	}
	return r
}

// lasting: the longest way on which every reading is bad.
func (f *falsifier) lasting(t *table.ChannelTable, ch int) *runs.Run {
	for _, classes := range [...][]monitor.Class{{monitor.High}, {monitor.Open}, {monitor.Invalid}, {monitor.Missing}, table.Bad[:]} {
		_, news, start := t.LongestBadFrom(classes)
		if run := f.sequence(f.started(), ch, append(t.UpTo(start), append(news, news[max(0, len(news)-1):]...)...)); run != nil {
			return run
		}
	}
	return nil
}

// lingering: one bad scan, and then neither good nor bad for longer than doubtful
// may last.
func (f *falsifier) lingering(t *table.ChannelTable, ch int) *runs.Run {
	for _, class := range table.Bad {
		news := append([]monitor.Class{class}, slices.Repeat([]monitor.Class{monitor.Between}, int(t.Config.LongestStay)+2)...)
		if can := table.Possible(t.Config); can[class] && can[monitor.Between] && t.Config.Cost[class] < t.Config.Full {
			if run := f.sequence(f.started(), ch, news); run != nil {
				return run
			}
		}
	}
	return nil
}

// dipping: the shortest dip of one class that is not forgiven, to the loss.
func (f *falsifier) dipping(t *table.ChannelTable, ch int) *runs.Run {
	for _, class := range table.Bad {
		d := table.Dip{Class: class, Poll: f.v.Model.Held()}
		least, start := t.ShortestDipFrom(class, d.Poll)
		if least == model.Endless || !table.Possible(t.Config)[class] {
			continue
		}
		news := t.UpTo(start)
		d.Scans = least.Next()
		for scan := range t.Lost(t.States[start].Control, d) {
			news = append(news, d.News(scan))
		}
		if run := f.sequence(f.started(), ch, news); run != nil {
			return run
		}
	}
	return nil
}

// bypassing turns the key of every bypass over a bad channel: twice, once more
// while it is on, too soon after its end; and jams it from power-up on.
func (f *falsifier) bypassing() *runs.Run {
	for _, n := range f.v.Model.BypassesOf(f.goal.output) {
		b := &f.d.Config.Bypasses[n]
		key, last, gap := f.keyOf(b, interlock.True), uint64(b.For), uint64(b.Gap)
		if run := f.shown([]injection{{key, 0, gap + 10}}, gap+10); run != nil || key < 0 {
			return run
		}
		from := max(f.started(), gap+5)
		end := from + last + gap + 100
		turns := [...][]injection{
			{{key, from, from + 2}, {key, from + last + 10, from + last + 12}},
			{{key, from, from + 2}, {key, from + 5, from + 7}},
			{{key, from, from + last + gap + 5}, {key, from + last + gap + 7, end}},
		}
		for _, class := range table.Bad {
			for _, list := range turns {
				if wrong := f.showing(b.Channel, class); wrong >= 0 {
					list = append(list, injection{wrong, from, end})
				}
				if run := f.shown(list, end); run != nil {
					return run
				}
			}
		}
	}
	for _, l := range f.underKey() {
		if run := f.shown(l.list, l.end); run != nil {
			return run
		}
	}
	return nil
}

// numberOf is the number of a deviation; -1 if it is none of this falsifier's.
func (f *falsifier) numberOf(x deviation) int { return slices.Index(f.wrongs, x) }

// shown is a run of what goes wrong, made small, if it is what is looked for.
func (f *falsifier) shown(list []injection, limit uint64) *runs.Run {
	if slices.ContainsFunc(list, func(s injection) bool { return s.wrong < 0 }) {
		return nil
	}
	t := f.play(list, limit)
	if t == nil {
		return nil
	}
	return f.keep(f.smaller(trimmed(list, t.scans), t))
}

// started is the scan in which the output runs and every clamp is on.
func (f *falsifier) started() uint64 { return f.v.Start(f.goal.output).Record.Scans }

// sequence lets a channel read one class after the other from some scan on, and
// with it all others of its cut set, because the output hangs on them together.
func (f *falsifier) sequence(from uint64, ch int, news []monitor.Class) *runs.Run {
	if len(news) == 0 {
		return nil
	}
	var list []injection
	for _, cause := range f.together(ch) {
		for i, class := range news {
			if wrong := f.showing(cause, class); wrong >= 0 {
				list = f.prolong(list, injection{wrong, from + uint64(i), from + uint64(i) + 1})
			}
		}
	}
	return f.shown(list, from+uint64(len(news))+2)
}

// together is a channel with the rest of its smallest cut set.
func (f *falsifier) together(ch int) []int {
	if p := f.v.property(f.goal.property); p != nil && p.attack.alone {
		return []int{ch}
	}
	return smallestWith(f.observer.cuts, ch)
}

// showing is the deviation that makes a cause show some news; -1 if it is none.
func (f *falsifier) showing(cause int, class monitor.Class) int {
	for i, x := range f.wrongs {
		switch {
		case cause < len(f.d.Config.Channels) && x.kind == wrongReading && x.cause == cause && x.class == class:
			return i
		case cause >= len(f.d.Config.Channels) && x.kind == wrongInput && x.cause == cause && x.value != interlock.Unknown && x.value != runs.HelpfulFor(f.observer.config.Outputs[f.observer.output].Permissive, cause) && class != monitor.Good:
			return i
		}
	}
	return -1
}
