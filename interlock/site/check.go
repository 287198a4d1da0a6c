package site

import (
	"fmt"
	"time"

	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// check runs everything that one key alone cannot show. Each check looks only
// at what was read without a problem, so that one mistake is told once.
func (r *reader) check(s *Site) {
	if !r.ok("poll") {
		s.Poll = s.Period.Max
	}
	if r.ok("scan") && s.Period.Min <= 0 {
		r.complain(r.valueAt("scan"), "a scan takes no time", "write scan: 10 ms")
		delete(r.read, "scan")
	}
	for i := range s.Channels {
		r.checkChannel(s, &s.Channels[i])
	}
	r.checkExpressions(s)
	for i := range s.Outputs {
		r.checkOutput(s, &s.Outputs[i])
	}
	r.checkBackups(s)
	for i := range s.Vessels {
		r.checkVessel(s, &s.Vessels[i])
	}
	for i := range s.Streams {
		r.checkStream(s, &s.Streams[i])
	}
	r.checkRestart(s)
	r.checkBypasses(s)
	for i := range s.Properties {
		r.checkProperty(&s.Properties[i])
	}
	for i := range s.Functions {
		r.checkFunction(&s.Functions[i])
	}
	r.checkPoints(s)
	if r.ok("scan") {
		r.checkTimes(s)
	}
}

// when complains about the value at a path.
func (r *reader) when(bad bool, path, text, instead string) {
	if bad {
		r.complain(r.valueAt(path), text, instead)
	}
}

// missing complains that a key is absent.
func (r *reader) missing(bad bool, path, key, why, example string) {
	if bad && r.values[path+"."+key] == nil {
		r.complain(r.at(path, r.valueAt(path)), fmt.Sprintf("the key %q is missing: %s", key, why), "write "+key+": "+example)
	}
}

// checkTimes refuses times that the logic cannot count.
func (r *reader) checkTimes(s *Site) {
	clock := s.Clock()
	longest := quantity.Duration((clock.Shortest(monitor.ScansMax - 3)).Truncate(time.Hour))
	for _, t := range r.times {
		if t.time > 0 && t.time < s.Period.Max {
			r.complain(t.at, fmt.Sprintf("%s is shorter than one scan of %s", quantity.Duration(t.time), quantity.Duration(s.Period.Max)), fmt.Sprintf("write 0 s, or %s or more", quantity.Duration(s.Period.Max)))
		}
		if !clock.Fits(t.time) {
			r.complain(t.at, fmt.Sprintf("%s is longer than a counter of scans can count", quantity.Duration(t.time)), "write at most "+longest)
		}
	}
	if r.ok("poll") {
		r.when(s.Poll <= 0 || !clock.Fits(s.Poll), "poll", "a poll cycle cannot last so long", "write the time of one bus cycle, such as 100 ms")
	}
}

// kindLimits are the highest reject limits of design and trade: 10 Ω for metal,
// 100 MΩ for dissipative bonds.
var kindLimits = map[string]monitor.Microohm{"metal": 10e6, "dissipative": 1e8 * 1e6}

func (r *reader) checkChannel(s *Site, c *Channel) {
	path := "channels." + c.Name
	ok := func(keys ...string) bool {
		for _, key := range keys {
			if !r.ok(path + "." + key) {
				return false
			}
		}
		return true
	}
	show := func(m monitor.Microohm) string { return quantity.Ohms(int64(m)) }
	r.when(ok("accept", "reject") && c.Accept > c.Reject, path+".accept",
		fmt.Sprintf("accept %s is above reject %s", show(c.Accept), show(c.Reject)), "write "+show(c.Reject)+" or less")
	r.when(ok("open_above", "reject") && c.OpenAbove <= c.Reject, path+".open_above",
		fmt.Sprintf("open_above %s is not above reject %s", show(c.OpenAbove), show(c.Reject)), "write more than "+show(c.Reject))
	r.when(ok("plausible_floor", "accept") && c.Floor > c.Accept, path+".plausible_floor",
		fmt.Sprintf("the floor %s is above accept %s: nothing could be good", show(c.Floor), show(c.Accept)), "write "+show(c.Accept)+" or less")
	r.when(ok("valid_up_to", "reject") && c.ValidMax <= c.Reject, path+".valid_up_to",
		fmt.Sprintf("valid_up_to %s is not above reject %s", show(c.ValidMax), show(c.Reject)), "write more than "+show(c.Reject))
	if limit, known := kindLimits[c.Kind]; known {
		r.when(ok("reject", "kind") && c.Reject > limit, path+".reject",
			fmt.Sprintf("reject %s is above %s, the most for kind %s", show(c.Reject), show(limit), c.Kind), "write "+show(limit)+" or less, or another kind")
	}
	r.when(ok("stale_after", "settle.time") && c.StaleAfter >= c.SettleTime, path+".stale_after",
		fmt.Sprintf("stale_after %s is not shorter than the settle time %s: one reading could bond", quantity.Duration(c.StaleAfter), quantity.Duration(c.SettleTime)), "write less than "+quantity.Duration(c.SettleTime))
	least := s.leastStale()
	r.when(ok("stale_after") && r.ok("scan", "poll") && c.StaleAfter < least, path+".stale_after",
		fmt.Sprintf("stale_after %s is too short for a poll cycle of %s: readings would be missing between two polls", quantity.Duration(c.StaleAfter), quantity.Duration(s.Poll)), "write "+quantity.Duration(least)+" or more")
	r.when(ok("longest_doubt") && c.LongestDoubt == 0, path+".longest_doubt",
		"the longest stay in doubtful is zero", "write a time; who wants no doubt writes 0 ms under patience")
	if r.ok("scan") && ok("counting", "patience.high", "patience.open", "patience.invalid", "patience.missing") {
		if _, fits := s.Clock().budget(c); !fits {
			key, instead := s.Clock().rounder(c)
			r.complain(r.valueAt(path+".patience."+key), "the patiences have no common measure that fits 32 bits of scans", instead)
		}
	}
}

// leastStale is the shortest stale_after that lasts from one poll to the next
// where a poll cycle is longer than a scan. It is counted in the longest scans,
// and a cycle may hold more of the shortest.
func (s *Site) leastStale() time.Duration {
	if s.Poll <= s.Period.Max || s.Period.Min <= 0 {
		return 0
	}
	clock := s.Clock()
	return clock.Longest(clock.AtLeast(s.Poll) - 1)
}

func (r *reader) checkOutput(s *Site, o *Output) {
	path := "outputs." + o.Name
	r.missing(o.Restart == "automatic", path, "reason", "a restart without a press needs one", "why nobody can be hurt by it")
	r.missing(o.Restart == "on-reset", path, "reset", "it restarts on reset", "a button")
	confirmed := r.values[path+".confirm"] != nil
	r.missing(confirmed && o.Restart != "on-reset", path, "reset", "it clears an unconfirmed actuator", "a button")
	if confirmed {
		r.when(o.Closed == "" && o.Opened == "", path+".confirm", "a confirmation without an end switch", "name closed: or opened: or both")
		r.when(o.Closed != "" && o.Closed == o.Opened, path+".confirm.opened", fmt.Sprintf("%q cannot be both end switches", cut(o.Opened)), "name two inputs, or leave one out")
		r.when(r.ok(path+".confirm.travel") && o.Travel == 0, path+".confirm.travel", "the actuator takes no time to travel", "write its longest travel time")
	}
	r.when(o.Start != "" && o.Start == o.Reset, path+".start", "start is the button of the reset: a reset would start it", "name another button, or leave start out")
	r.when(r.values[path+".reset"] != nil && !r.pressable(s, o.PressMin, o.PressMax), path+".press", r.pressText(s, o.PressMin, o.PressMax), "write a longer interval, such as 0.1..3 s")
	r.when(len(o.Backup) > 0 && o.BackupWhen == "unconfirmed" && !confirmed, path+".backup", "the backup could never be called: nothing confirms this output", "write confirm:, or backup_when: at once")
}

// pressable reports that a press of a button can count.
func (r *reader) pressable(s *Site, shortest, longest time.Duration) bool {
	if !r.ok("scan") || longest == 0 {
		return true // told elsewhere
	}
	press := s.Clock().press(shortest, longest)
	return press.Max >= press.Min
}

func (r *reader) pressText(s *Site, shortest, longest time.Duration) string {
	return fmt.Sprintf("no press from %s to %s long could be told apart with scans of %s", quantity.Duration(shortest), quantity.Duration(longest), quantity.Duration(s.Period.Max))
}

// checkBackups refuses backups that come back to where they started.
func (r *reader) checkBackups(s *Site) {
	calls := map[string][]string{}
	for i := range s.Outputs {
		calls[s.Outputs[i].Name] = s.Outputs[i].Backup
	}
	for i := range s.Outputs {
		o := &s.Outputs[i]
		for k, name := range o.Backup {
			r.when(reaches(calls, name, o.Name, map[string]bool{}), fmt.Sprintf("outputs.%s.backup.%d", o.Name, k),
				fmt.Sprintf("%q and %q call each other as backups in a circle", cut(o.Name), cut(name)), "leave one call out")
		}
	}
}

func reaches(calls map[string][]string, from, to string, seen map[string]bool) bool {
	if from == to {
		return true
	}
	if seen[from] {
		return false
	}
	seen[from] = true
	for _, next := range calls[from] {
		if reaches(calls, next, to, seen) {
			return true
		}
	}
	return false
}

func (r *reader) checkVessel(s *Site, v *Vessel) {
	path := "vessels." + v.Name
	r.missing(v.Wait > 0, path, "acknowledge", "an early reconnection could never be cleared", "a button")
	r.when(v.Acknowledge != "" && !r.pressable(s, v.PressMin, v.PressMax), path+".press", r.pressText(s, v.PressMin, v.PressMax), "write a longer interval, such as 0.1..3 s")
	if v.BondedBy == "" && r.values[path+".bonded_by"] == nil && s.BondExpression(v) == "" && r.partsRead(s) {
		r.complain(r.at(path, Position{1, 1}), fmt.Sprintf("no channel watches %q", cut(v.Name)), "write part: "+cut(v.Name)+" in a channel, or bonded_by: here")
	}
}

// partsRead reports that every channel says which part it watches.
func (r *reader) partsRead(s *Site) bool {
	for i := range s.Channels {
		if !r.ok("channels." + s.Channels[i].Name + ".part") {
			return false
		}
	}
	return true
}

func (r *reader) checkStream(s *Site, v *Stream) {
	path := "streams." + v.Name
	r.when(r.ok(path+".through") && len(v.Through) == 0, path+".through", "nothing could stop this stream", "name the outputs that it flows through")
	r.when(r.ok(path+".charges") && len(v.Charges) == 0, path+".charges", "this stream charges nothing", "name the vessels that it charges")
	confirmable := s.Confirmable(v)
	r.missing(r.ok(path+".through") && len(v.Through) > 0 && !confirmable, path, "longest_stop", "nothing that it flows through confirms the stop", "20 s")
}

// checkRestart refuses outputs that would come back by themselves onto a vessel
// that may be charged.
func (r *reader) checkRestart(s *Site) {
	waits := map[string]time.Duration{}
	for i := range s.Vessels {
		waits[s.Vessels[i].Name] = s.Vessels[i].Wait
	}
	told := map[string]bool{}
	for i := range s.Streams {
		for _, name := range s.Streams[i].Through {
			o := s.OutputIndex(name)
			if o < 0 || s.Outputs[o].Restart != "automatic" {
				continue
			}
			for _, vessel := range s.Streams[i].Charges {
				r.when(waits[vessel] > 0 && !told[name], "outputs."+name+".restart",
					fmt.Sprintf("%q restarts by itself, but charges %q, which has a wait of %s", cut(name), cut(vessel), quantity.Duration(waits[vessel])), "write restart: on-reset")
				told[name] = told[name] || waits[vessel] > 0
			}
		}
	}
}

func (r *reader) checkBypasses(s *Site) {
	byChannel, byVessel := map[string]string{}, map[int]string{}
	for i := range s.Bypasses {
		b := &s.Bypasses[i]
		path := "bypasses." + b.Name
		r.missing(b.Covers == "lost", path, "measure", "covering a lost channel needs one that compensates", "what is done instead")
		r.when(b.Covers == "lost" && b.Measure == "" && r.ok(path+".measure"), path+".measure", "covering a lost channel needs a measure that compensates", "write what is done instead, or covers: unreadable")
		r.checkBypassTimes(s, b, path)
		if !r.ok(path + ".channel") {
			continue
		}
		if first, taken := byChannel[b.Channel]; taken {
			r.complain(r.valueAt(path+".channel"), fmt.Sprintf("channel %q has a bypass already: %q", b.Channel, cut(first)), "keep one")
			continue
		}
		byChannel[b.Channel] = b.Name
		for _, vessel := range r.vesselsOf(s, b.Channel) {
			if first, taken := byVessel[vessel]; taken {
				r.complain(r.valueAt(path+".channel"), fmt.Sprintf("vessel %q has a bypass already: %q", cut(s.Vessels[vessel].Name), cut(first)), "one a vessel: delete one of them")
				break
			}
			byVessel[vessel] = b.Name
		}
	}
}

// vesselsOf are the vessels that a channel watches or shows the earth of.
func (r *reader) vesselsOf(s *Site, channel string) []int {
	number := s.ChannelIndex(channel)
	own := s.VesselOf(&s.Channels[number])
	var list []int
	for i := range s.Vessels {
		causes := r.bonds[s.Vessels[i].Name].Causes()
		if i == own || causes.Has(number) {
			list = append(list, i)
		}
	}
	return list
}

func (r *reader) checkBypassTimes(s *Site, b *Bypass, path string) {
	r.when(r.ok(path+".for") && b.For == 0, path+".for", "the bypass lasts no time", "write how long it lasts, such as 8 min")
	r.when(r.ok(path+".gap") && b.Gap == 0, path+".gap", "without a gap the bypass could be renewed for ever", "write a time, such as 10 s")
	r.when(r.ok(path+".warn") && b.Warn == 0, path+".warn", "nobody would be warned before the bypass ends", "write a time, such as 60 s")
	if r.ok("scan", path+".for", path+".warn") && b.For > 0 {
		clock := s.Clock()
		r.when(clock.AtLeast(b.Warn) >= clock.AtMost(b.For), path+".warn",
			fmt.Sprintf("a warning %s before the end of a bypass of %s comes before it begins", quantity.Duration(b.Warn), quantity.Duration(b.For)), "write a shorter time")
	}
}

// propertyNeeds are the keys that each kind of property cannot do without.
var propertyNeeds = map[string][][2]string{
	"within":    {{"when", "NOT bond_1"}, {"time", "300 ms"}},
	"never":     {{"when", "pump AND NOT bond_1"}},
	"until":     {{"when", "NOT bond_1"}, {"then", "bond_1"}},
	"tolerates": {{"channel", "bond_1"}, {"class", "high"}},
}

func (r *reader) checkProperty(p *Property) {
	for _, need := range propertyNeeds[p.Kind] {
		r.missing(true, "properties."+p.Name, need[0], "kind "+p.Kind+" needs it", need[1])
	}
}

// checkPoints refuses one point of the rig under two names: one instrument
// must not appear as two channels.
func (r *reader) checkPoints(s *Site) {
	type wire struct {
		module, use string
		point       int
	}
	taken := map[wire]string{}
	for i, p := range s.Rig.Points {
		path := fmt.Sprintf("rig.points.%d", i)
		if !r.ok(path+".module", path+".point", path+".use") {
			continue
		}
		w := wire{p.Module, p.Use, p.Point}
		if first, twice := taken[w]; twice && first != p.Name {
			r.complain(r.valueAt(path+".point"), fmt.Sprintf("point %d of %q is %q already: one thing under two names", p.Point, p.Module, cut(first)), "give each a point of its own")
			continue
		}
		taken[w] = p.Name
	}
}
