package opinion

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Bound is the number that a channel alone is asked about: scans, and of which
// class where it matters; or, of readings, how many in how many.
type Bound struct {
	Scans uint64
	Class monitor.Class // of the scans; Good where any mixture is meant
	Of    uint64        // above 0: Scans bad readings in Of
}

var (
	shareText = regexp.MustCompile(`^(\d{1,4}) in (\d{1,4})$`)
	scansText = regexp.MustCompile(`^(\d{1,9})( missing| invalid| open| high)?$`)
)

// BoundOf reads a bound as people write it: "25", "19 high" or "1 in 5".
func BoundOf(text string) (Bound, error) {
	b := Bound{Class: monitor.Good}
	if share := shareText.FindStringSubmatch(text); share != nil {
		b.Scans, _ = strconv.ParseUint(share[1], 10, 64) // both match digits only
		b.Of, _ = strconv.ParseUint(share[2], 10, 64)
		if b.Scans >= b.Of {
			return b, fmt.Errorf(`a share of %q is no less than all; write fewer bad ones, such as "1 in 5"`, text)
		}
		return b, nil
	}
	scans := scansText.FindStringSubmatch(text)
	if scans == nil {
		return b, fmt.Errorf(`%q is no bound; write scans ("25"), scans of a class ("19 high") or a share ("1 in 5")`, text)
	}
	b.Scans, _ = strconv.ParseUint(scans[1], 10, 64)
	for class := monitor.Missing; class <= monitor.High; class++ {
		if scans[2] == " "+class.String() {
			b.Class = class
		}
	}
	return b, nil
}

// String is how people write it.
func (b Bound) String() string {
	switch {
	case b.Of > 0:
		return fmt.Sprintf("%d in %d", b.Scans, b.Of)
	case b.Class != monitor.Good:
		return fmt.Sprintf("%d %s", b.Scans, b.Class)
	}
	return fmt.Sprint(b.Scans)
}

// alone is how each property of a channel alone is stated.
var alone = map[model.Property]struct {
	state func(*Source, *verify.Alone, *Bound) error
	// says is what the model demands of the bound, for its head.
	says string
}{
	model.PropertyResponse: {(*Source).response, `After BOUND scans that were all bad, of any mixture, or (MIXED 0) of the class
ONLY, it is no longer fit to keep, whatever came before.`},
	model.PropertyChatter: {(*Source).chatter, `For every W: W scans in a row, with a fresh reading in each, end it if the bad
ones, times SHARE_OF, are LIMIT above SHARE_BAD * W. LIMIT is more than two whole
stays in doubtful weigh, so that a burst does not come to it, and a share that is
tolerated for ever does.`},
	model.PropertyPatience: {(*Source).dips, `Dips of one class each, no longer than FORGIVEN_ that class, with SPACED good
readings before each, never make it unfit to keep.`},
	model.PropertyUnknown: {(*Source).unknown, `Two of the same channel, fit to keep: where one reads good, the other may hear
nothing, or an invalid reading. While fit to keep, the other is never fit where
the one is not, nor bonded. That a gap delays a loss by no more than stale-after
is the bound of 4 for any mixture against that of each class.`},
	model.PropertyRecovery: {(*Source).recovery, `From every state, BOUND good readings in a row lead to bonded.`},
}

// AloneStates lists the properties that are stated of a channel alone.
func AloneStates() string { return listed(stated(aChannel)) }

// RestateAlone makes the source of one channel, every counter at its exact value,
// with one property beside it. The bound is what our search says, unless another
// one is given.
func RestateAlone(a *verify.Alone, property model.Property, bound *Bound) (*Source, error) {
	how, ok := alone[property]
	if !ok {
		return nil, fmt.Errorf("property %s is not judged by the model of a channel alone; write one of %s", property, AloneStates())
	}
	s := &Source{Title: fmt.Sprintf("channel %s alone, every counter at its exact value", a.Channel), kind: aChannel, says: how.says,
		counters: map[string]counter{}, judged: []model.Property{property}}
	s.memoryOf(&a.Config)
	s.counters["stay"] = counter{top: uint64(a.Config.LongestStay), exact: true}
	s.keep(uint64(a.Config.LongestStay), "stay")
	if err := how.state(s, a, bound); err != nil {
		return nil, fmt.Errorf("property %s of channel %s: %w", property, a.Channel, err)
	}
	s.body = append(s.body, "judge")
	s.findScratch()
	return s, nil
}

func listed(numbers []model.Property) string { return strings.Trim(fmt.Sprint(numbers), "[]") }

// scans is a bound in scans that was asked for, or else the one that was found.
func scans(asked *Bound, found model.Scans, classes bool) (Bound, error) {
	b := Bound{Scans: uint64(found), Class: monitor.Good}
	if asked != nil {
		b = *asked
	}
	switch {
	case asked == nil && found == model.Endless:
		return b, fmt.Errorf("our search finds no bound; give one, such as --bound 100")
	case b.Of > 0 || b.Class != monitor.Good && !classes:
		return b, fmt.Errorf("a bound of %q is no number of scans; write one, such as --bound %d", b, found)
	case b.Scans == 0 || b.Scans > most:
		return b, fmt.Errorf("a bound of %d scans is not between 1 and %d", b.Scans, most)
	}
	return b, nil
}

// most is the longest bound that a model counts to.
const most = 1_000_000

// response is property 4.
func (s *Source) response(a *verify.Alone, asked *Bound) error {
	b, err := scans(asked, a.Facts.Detect, true)
	if err != nil {
		return err
	}
	if b.Class != monitor.Good && !a.Can(b.Class) {
		return fmt.Errorf("no reading of class %s can reach it", b.Class)
	}
	s.constant("BOUND", b.Scans)
	s.flag("MIXED", b.Class == monitor.Good)
	s.constant("ONLY", uint64(b.Class))
	s.keep(b.Scans, "wbad")
	s.hears(a.News)
	s.steps("response")
	return nil
}

// chatter is property 5. Only the share of readings is limited, so one comes in
// every scan.
func (s *Source) chatter(a *verify.Alone, asked *Bound) error {
	b := Bound{Scans: 1, Of: 2}
	if asked != nil {
		b = *asked
	}
	if b.Of == 0 {
		return fmt.Errorf(`a bound of %q is no share; write one, such as --bound "1 in 5"`, b)
	}
	common := divisor(b.Scans, b.Of)
	b.Scans, b.Of = b.Scans/common, b.Of/common
	fresh := slices.DeleteFunc(slices.Clone(a.News), func(c monitor.Class) bool { return c == monitor.Missing })
	limit := 2*stayWeighs(a, fresh, b) + 1
	if limit > most {
		return fmt.Errorf(`a share of %q is too fine; write smaller numbers, such as --bound "1 in 5"`, b)
	}
	s.constant("SHARE_BAD", b.Scans)
	s.constant("SHARE_OF", b.Of)
	s.constant("LIMIT", limit)
	s.keep(limit, "wover")
	s.hears(fresh)
	s.steps("chatter")
	return nil
}

// stayWeighs is the most that bad readings can weigh above a share in one stay in
// doubtful, or in its rest. Each spends what the cheapest does at least; a good one
// takes off what it repays, unless it repays all and ends the stay.
func stayWeighs(a *verify.Alone, fresh []monitor.Class, share Bound) (heaviest uint64) {
	c, cost := &a.Config, uint64(a.Config.Full)
	for _, class := range fresh {
		if class < monitor.Between {
			cost = min(cost, uint64(c.Cost[class]))
		}
	}
	full, repay := uint64(c.Full), uint64(c.Repay)
	for bad := uint64(1); bad <= uint64(c.LongestStay)+1; bad++ {
		good := uint64(0)
		if above := bad * cost; above >= full {
			if repay+1 >= full {
				break // no good reading leaves any doubt
			}
			good = (above - full + repay) / repay
		}
		weighs := bad*(share.Of-share.Scans) - min(good*share.Scans, bad*(share.Of-share.Scans))
		if bad+good > uint64(c.LongestStay)+1 {
			break
		}
		heaviest = max(heaviest, weighs)
	}
	return heaviest
}

// divisor is the greatest common one.
func divisor(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// dips is property 6. Asked about one class, the others keep what was found.
func (s *Source) dips(a *verify.Alone, asked *Bound) error {
	forgiven := a.Facts.Patience
	if asked != nil {
		if asked.Class == monitor.Good || asked.Of > 0 {
			return fmt.Errorf(`a bound of %q names no class; write one, such as --bound "%d high"`, *asked, forgiven[monitor.High])
		}
		if !a.Can(asked.Class) {
			return fmt.Errorf("no reading of class %s can reach it", asked.Class)
		}
		if asked.Scans > most {
			return fmt.Errorf("a bound of %d scans is not between 0 and %d", asked.Scans, most)
		}
		forgiven[asked.Class] = model.Scans(asked.Scans)
	}
	s.number("D_NONE D_READY D_DIP D_AFTER")
	longest := model.Scans(0)
	for class := monitor.Missing; class <= monitor.High; class++ {
		longest = max(longest, forgiven[class])
		s.constant("FORGIVEN_"+strings.ToUpper(class.String()), uint64(forgiven[class]))
	}
	if longest == 0 || longest == model.Endless || a.Facts.Repay == model.Endless {
		return fmt.Errorf("it forgives no dip, or every one, so there is nothing to compare")
	}
	s.constant("SPACED", uint64(max(a.Facts.Repay, 1)))
	s.keep(3, "wdips wclass")
	s.constant("LONGEST", uint64(longest))
	s.keep(uint64(longest)+1, "wdip")
	s.keep(s.valueOf("SPACED"), "wgood")
	s.hears(a.News)
	s.steps("dips")
	return nil
}

// recovery is property 15.
func (s *Source) recovery(a *verify.Alone, asked *Bound) error {
	b, err := scans(asked, a.Facts.Recover, false)
	if err != nil {
		return err
	}
	s.constant("BOUND", b.Scans)
	s.keep(b.Scans, "wgood")
	s.hears(a.News)
	s.steps("recovery")
	return nil
}

// unknown is property 9: the same rules twice, side by side.
func (s *Source) unknown(a *verify.Alone, asked *Bound) error {
	if asked != nil {
		return fmt.Errorf("it compares two channels, with no bound; leave --bound out")
	}
	for _, v := range slices.Clone(s.memory) {
		s.keep(v.top, v.name+beside)
	}
	s.counters["stay"+beside] = s.counters["stay"]
	s.constant("DOES_NOT_COME", uint64(monitor.Classes))
	s.constant("COMES_SPOILT", uint64(monitor.Classes)+1)
	in := s.choose("reading", append(numbersOf(a.News), s.valueOf("DOES_NOT_COME"), s.valueOf("COMES_SPOILT"))...)
	in.only(s.valueOf("DOES_NOT_COME"), "(phase == BONDED || phase == DOUBTFUL)")
	in.only(s.valueOf("COMES_SPOILT"), "(phase == BONDED || phase == DOUBTFUL)")
	s.add("spoilt", 0)
	s.add("before", 0)
	from := len(s.body)
	s.add("channel", 0)
	for _, line := range slices.Clone(s.body[from:]) {
		s.body = append(s.body, second(line))
	}
	s.add("after", 0)
	s.add("unknown", 0)
	return nil
}

// beside marks what belongs to the second channel.
const beside = "_b"

var variableName = regexp.MustCompile(`\b[a-z]\w*\b`)

// second is a rule of the channel as a rule of the second one: constants are
// capitals, everything else but the words of the language is a variable.
func second(line string) string {
	if strings.HasPrefix(strings.TrimSpace(line), "#") {
		return line
	}
	return variableName.ReplaceAllStringFunc(line, func(name string) string {
		if slices.Contains([]string{"if", "elif", "else", "end", "up"}, name) {
			return name
		}
		return name + beside
	})
}

// steps adds one scan of the channel with an observer behind it.
func (s *Source) steps(observer string) {
	for _, part := range []string{"before", "channel", "after", observer} {
		s.add(part, 0)
	}
}
