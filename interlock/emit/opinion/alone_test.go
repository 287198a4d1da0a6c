package opinion

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// counted is our own enumeration of a model of a channel alone: every state of
// the channel and of what stands beside it, found with the logic that runs.
type counted struct {
	states uint64
	bad    bool
	met    bool
}

// scanner is one scan of a channel.
type scanner func(s monitor.Control, news monitor.Class) monitor.Control

// real is what runs, with a reading that comes as each class.
func real(c *monitor.Config) scanner {
	readings := [monitor.Classes]monitor.Reading{
		monitor.Invalid: {Quality: monitor.Bad, Stamp: 8},
		monitor.Open:    {Quality: monitor.Valid, Value: c.OpenAbove, Stamp: 8},
		monitor.High:    {Quality: monitor.Valid, Value: c.Reject + 1, Stamp: 8},
		monitor.Between: {Quality: monitor.Valid, Value: c.Accept + 1, Stamp: 8},
		monitor.Good:    {Quality: monitor.Valid, Value: c.Accept, Stamp: 8},
	}
	if c.ValidMax > 0 && c.OpenAbove > c.ValidMax {
		readings[monitor.Open] = monitor.Reading{Quality: monitor.OverRange, Stamp: 8}
	}
	return func(s monitor.Control, news monitor.Class) monitor.Control {
		return monitor.Step(c, monitor.State{Control: s, Stamp: 7, Seen: true}, readings[news]).Control
	}
}

// enumerate finds every state from the first on.
func enumerate[S comparable](first S, choices int, step func(s S, choice int) (next S, bad, met, can bool)) (all counted) {
	known, todo := map[S]bool{first: true}, []S{first}
	for len(todo) > 0 {
		s := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for choice := range choices {
			next, bad, met, can := step(s, choice)
			if !can {
				continue
			}
			all.bad, all.met = all.bad || bad, all.met || met
			if !known[next] {
				known[next] = true
				todo = append(todo, next)
			}
		}
	}
	all.states = uint64(len(known))
	return all
}

// watched is a channel and what a property remembers of it.
type watched[W comparable] struct {
	monitor.Control
	w W
}

// watch enumerates a channel with the memory of a property beside it.
func watch[W comparable](scan scanner, news []monitor.Class, see func(w W, was, is monitor.Phase, news monitor.Class) (W, bool, bool)) counted {
	return enumerate(watched[W]{}, len(news), func(s watched[W], choice int) (next watched[W], bad, met, can bool) {
		next.Control = scan(s.Control, news[choice])
		next.w, bad, met = see(s.w, s.Phase, next.Phase, news[choice])
		return next, bad, met, true
	})
}

// ours counts the model of one property by ourselves.
func ours(s *Source, a *verify.Alone, scan scanner, b Bound) counted {
	switch s.judged[0] {
	case 4:
		return oursResponse(a, scan, b)
	case 5:
		return oursChatter(a, scan, int64(s.valueOf("SHARE_BAD")), int64(s.valueOf("SHARE_OF")), int64(s.valueOf("LIMIT")))
	case 6:
		return oursDips(a, scan, b)
	case 15:
		return oursRecovery(a, scan, b)
	}
	return oursUnknown(a, scan)
}

func isBad(news monitor.Class) bool { return news != monitor.Good && news != monitor.Between }

func oursResponse(a *verify.Alone, scan scanner, b Bound) counted {
	return watch(scan, a.News, func(w uint64, was, is monitor.Phase, news monitor.Class) (uint64, bool, bool) {
		if !was.MayKeep() || !isBad(news) || b.Class != monitor.Good && news != b.Class {
			return 0, false, false
		}
		w = min(w+1, b.Scans)
		if !is.MayKeep() {
			return 0, false, w == b.Scans
		}
		return w, w == b.Scans, w == b.Scans
	})
}

func oursChatter(a *verify.Alone, scan scanner, share, of, limit int64) counted {
	var fresh []monitor.Class
	for _, class := range a.News {
		if class != monitor.Missing {
			fresh = append(fresh, class)
		}
	}
	return watch(scan, fresh, func(w int64, was, is monitor.Phase, news monitor.Class) (int64, bool, bool) {
		if !was.MayKeep() {
			return 0, false, false
		}
		// The bad ones of all, times of, less the share that is allowed.
		w -= share
		if isBad(news) {
			w += of
		}
		if !is.MayKeep() {
			return 0, false, isBad(news)
		}
		w = min(max(w, 0), limit)
		return w, w == limit, isBad(news)
	})
}

// dip is where a row of dips stands.
type dip struct {
	class   monitor.Class // of the dip that lasts
	long    model.Scans   // above 0: a dip lasts
	good    model.Scans   // good readings in a row
	ordered bool          // nothing but short dips, spaced well, so far
}

func oursDips(a *verify.Alone, scan scanner, b Bound) counted {
	forgiven, spaced := a.Facts.Patience, max(a.Facts.Repay, 1)
	if b.Class != monitor.Good {
		forgiven[b.Class] = model.Scans(b.Scans)
	}
	return watch(scan, a.News, func(w dip, was, is monitor.Phase, news monitor.Class) (dip, bool, bool) {
		whole := false
		switch {
		case !was.MayKeep() && news == monitor.Good:
			w = dip{good: 1}
		case !was.MayKeep() || news == monitor.Between:
			w = dip{}
		case news == monitor.Good:
			w = dip{good: min(w.good+1, spaced), ordered: w.ordered}
		case w.ordered && forgiven[news] > w.long && (w.good == spaced || w.long > 0 && w.class == news):
			w = dip{class: news, long: w.long + 1, ordered: true}
			whole = w.long == forgiven[news]
		default:
			w = dip{}
		}
		if !is.MayKeep() {
			return dip{}, w.ordered, whole
		}
		w.ordered = w.ordered || w.good == spaced
		return w, false, whole
	})
}

func oursRecovery(a *verify.Alone, scan scanner, b Bound) counted {
	return watch(scan, a.News, func(w uint64, _, is monitor.Phase, news monitor.Class) (uint64, bool, bool) {
		if news != monitor.Good {
			return 0, false, false
		}
		w = min(w+1, b.Scans)
		whole := w == b.Scans
		if is == monitor.Bonded {
			return 0, false, whole
		}
		return w, whole, whole
	})
}

// oursUnknown lets one channel read as it is; of the other one some good readings
// do not come, or come invalid.
func oursUnknown(a *verify.Alone, scan scanner) counted {
	return enumerate([2]monitor.Control{}, len(a.News)+2, func(s [2]monitor.Control, choice int) (next [2]monitor.Control, bad, met, can bool) {
		hears := [2]monitor.Class{monitor.Good, monitor.Missing}
		switch {
		case choice < len(a.News):
			hears = [2]monitor.Class{a.News[choice], a.News[choice]}
		case !s[0].Phase.MayKeep():
			return next, false, false, false
		case choice > len(a.News):
			hears[1] = monitor.Invalid
		}
		for i := range next {
			next[i] = scan(s[i], hears[i])
		}
		is, other := next[0].Phase, next[1].Phase
		bad = other.MayKeep() && !is.MayKeep() || other == monitor.Bonded && is != monitor.Bonded
		met = s[0] != s[1] && s[0].Phase.MayKeep() && is != monitor.Bonded
		if !other.MayKeep() {
			next[1] = next[0]
		}
		return next, bad, met, true
	})
}

// slowly repays its doubt; atOnce repays it with one good reading.
func slowly(c *monitor.Config) {
	c.Full, c.Repay, c.LongestStay, c.SettleScans = 12, 1, 14, 5
	c.Cost = [monitor.Classes]monitor.Parts{6, 6, 12, 4, 0, 0}
}

func atOnce(c *monitor.Config) {
	slowly(c)
	c.Repay = c.Full
}

// aloneOf is the channel of the small model.
func aloneOf(t testing.TB, change func(*monitor.Config)) *verify.Alone {
	t.Helper()
	a, err := verify.AloneOf(small(t, func(c *interlock.Config) { change(&c.Channels[0].Config) }), model.Options{}, 0)
	require.NoError(t, err)
	return a
}

// asked is a model of a channel alone, and what must come of it.
type asked struct {
	property model.Property
	bound    string // "" is what our search says
	bad, met bool
}

// numbered are the questions that show each of a channel's numbers from both
// sides: it holds, and is met; and with one scan less to end it, or one more to
// forgive, it is violated.
func numbered(a *verify.Alone) []asked {
	f := &a.Facts
	list := []asked{
		{4, "", false, true}, {4, fmt.Sprint(f.Detect + 1), false, false},
		{5, "", 2*f.Share.Bad > f.Share.Of, true}, {5, fmt.Sprintf("%d in %d", f.Share.Bad, f.Share.Of), false, true},
		{6, "", false, true},
		{9, "", false, true},
		{15, "", false, true}, {15, fmt.Sprint(f.Recover - 1), true, true}, {15, fmt.Sprint(f.Recover + 1), false, false},
	}
	if f.Detect > 1 {
		list = append(list, asked{4, fmt.Sprint(f.Detect - 1), true, true})
	}
	if f.Share.Bad > 0 {
		list = append(list, asked{5, fmt.Sprintf("%d in %d", f.Share.Bad, f.Share.Of+1), true, true})
	}
	for _, class := range a.News {
		if isBad(class) {
			list = append(list, asked{4, fmt.Sprintf("%d %s", f.DetectOf[class], class), false, true})
			if f.DetectOf[class] > 1 {
				list = append(list, asked{4, fmt.Sprintf("%d %s", f.DetectOf[class]-1, class), true, true})
			}
			list = append(list, asked{6, fmt.Sprintf("%d %s", f.Patience[class]+1, class), true, true})
		}
	}
	return list
}

// restated is the model of what is asked, and our own count of it.
func restated(t testing.TB, a *verify.Alone, scan scanner, q asked) (*Source, counted) {
	t.Helper()
	var bound *Bound
	if q.bound != "" {
		b, err := BoundOf(q.bound)
		require.NoError(t, err)
		bound = &b
	}
	s, err := RestateAlone(a, q.property, bound)
	require.NoError(t, err)
	b := Bound{Scans: s.valueOf("BOUND"), Class: monitor.Good}
	switch {
	case bound != nil:
		b = *bound
	case q.property == 5:
		b = Bound{Scans: 1, Of: 2}
	}
	return s, ours(s, a, scan, b)
}

// agree demands of both peers what we count, and of all three what must come.
func agree(t testing.TB, s *Source, mine counted, q asked) {
	t.Helper()
	require.Equal(t, []bool{q.bad, q.met}, []bool{mine.bad, mine.met}, "ours")
	var violated, met []model.Property
	if q.bad {
		violated = []model.Property{q.property}
	}
	if q.met {
		met = []model.Property{q.property}
	}
	spin, rumur := ask(t, s, mine.states)
	t.Logf("%d %q: ours %d states; SPIN %v, rumur %v (built in %v, %v)", q.property, q.bound, mine.states, spin.Searched, rumur.Searched, spin.Built, rumur.Built)
	assert.Equal(t, mine.states, spin.States, "SPIN's states")
	assert.Equal(t, violated, spin.Violated, "SPIN's verdict")
	assert.Equal(t, violated, rumur.Violated, "rumur's verdict")
	if !q.bad {
		assert.Equal(t, mine.states, rumur.States, "rumur's states")
		assert.Equal(t, met, rumur.Met, "what rumur meets")
	}
}

// A channel alone, counted by three programs, with the numbers that verify prints
// of it. BenchmarkChannels asks all of every channel of the demo sites.
func TestThreeOpinionsOfAChannel(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	slow, fast := aloneOf(t, slowly), aloneOf(t, atOnce)
	for _, k := range []struct {
		name string
		a    *verify.Alone
		some []string // of what numbered asks
	}{
		{"slowly repaid", slow, []string{"4 ", "4 3", "4 5", "4 2 missing", "5 ", "5 3 in 16", "6 ", "6 3 high", "9 ", "15 ", "15 14", "15 16"}},
		{"consecutive", fast, []string{"5 ", "5 2 in 3", "5 2 in 4", "6 ", "6 2 invalid"}},
	} {
		found := 0
		for _, q := range numbered(k.a) {
			name := fmt.Sprintf("%d %s", q.property, q.bound)
			if !slices.Contains(k.some, name) {
				continue
			}
			found++
			t.Run(k.name+", "+name, func(t *testing.T) {
				t.Parallel()
				s, mine := restated(t, k.a, real(&k.a.Config), q)
				agree(t, s, mine, q)
			})
		}
		assert.Equal(t, len(k.some), found, "of those asked")
	}
}

// A dip that is forgiven is lost all the same where doubtful ends before good
// readings have repaid it: 2 high take 8 of them.
func TestForgivenDipIsLostWhereDoubtfulIsShort(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	a := aloneOf(t, func(c *monitor.Config) {
		slowly(c)
		c.LongestStay = 8
	})
	for _, q := range []asked{{6, "2 high", true, true}, {6, "1 high", false, true}} {
		s, mine := restated(t, a, real(&a.Config), q)
		agree(t, s, mine, q)
	}
}

// SPIN tells by the reverse demand what a property has to say: something where
// its bound is met, nothing where it never is.
func TestWhatAChannelMeets(t *testing.T) {
	need(t, "spin", "gcc")
	a := aloneOf(t, slowly)
	for _, q := range []asked{{4, "", false, true}, {4, "5", false, false}, {5, "", false, true}, {6, "", false, true}, {9, "", false, true}, {15, "", false, true}} {
		t.Run(fmt.Sprintf("%d %s", q.property, q.bound), func(t *testing.T) {
			t.Parallel()
			s, mine := restated(t, a, real(&a.Config), q)
			spin := askSpin(context.Background(), t, s, mine.states, "-DMET")
			assert.Equal(t, mine.met, slices.Contains(spin.Met, q.property))
			assert.Equal(t, mine.states, spin.States)
		})
	}
}

// The numbers that verify finds in cells, and in closed form, are those of the
// exact model: with one scan less, or one more, they are wrong.
func TestNumbersOfAnyChannelAreExact(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	upTo := func(n int) int { return 1 + random.IntN(n) }
	for range 15 {
		a := aloneOf(t, func(c *monitor.Config) { anyBudget(c, upTo, 34+upTo(6)) })
		require.True(t, a.Facts.Exact)
		for _, q := range numbered(a) {
			if q.property == 9 || q.property == 6 && a.Facts.Patience == [monitor.Classes]model.Scans{} {
				continue
			}
			_, mine := restated(t, a, real(&a.Config), q)
			require.Equal(t, []bool{q.bad, q.met}, []bool{mine.bad, mine.met}, "%+v of %+v", q, a)
		}
	}
}

// anyBudget is some budget of doubt, small enough to enumerate.
func anyBudget(c *monitor.Config, upTo func(int) int, stay int) {
	full := upTo(16)
	part := func() monitor.Parts { return monitor.Parts(upTo(full)) }
	c.Full, c.Repay, c.LongestStay = monitor.Parts(full), part(), monitor.Scans(stay)
	c.Cost = [monitor.Classes]monitor.Parts{part(), part(), part(), part(), 0, 0}
	c.StaleAfter, c.SettleScans, c.SettlePause = monitor.Scans(upTo(3)-1), monitor.Scans(3+upTo(4)), monitor.Scans(upTo(3)-1)
}

// Where doubtful ends before the doubt is spent or repaid, what verify finds of a
// response and of a recovery is a bound: never too short. A share is exact there
// too, and a burst is not taken for one.
func TestNumbersWhereDoubtfulIsShort(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	upTo := func(n int) int { return 1 + random.IntN(n) }
	for range 100 {
		a := aloneOf(t, func(c *monitor.Config) { anyBudget(c, upTo, upTo(14)) })
		for _, q := range numbered(a) {
			bounded := (q.property == 4 || q.property == 15) && !q.bad
			if !bounded && q.property != 5 {
				continue
			}
			_, mine := restated(t, a, real(&a.Config), q)
			require.Equal(t, q.bad, mine.bad, "%+v of %+v", q, a)
		}
	}
}

// The pattern of a share that is tolerated for ever is one: repeated, it never
// ends, and so many of its readings are bad.
func TestPatternOfAShare(t *testing.T) {
	for _, change := range []func(*monitor.Config){slowly, atOnce} {
		a := aloneOf(t, change)
		scan, share := real(&a.Config), a.Facts.Share
		var s monitor.Control
		for range a.Config.SettleScans + 1 {
			s = scan(s, monitor.Good)
		}
		bad := uint64(0)
		for range 100 {
			for _, news := range share.Pattern {
				require.True(t, s.Phase.MayKeep())
				s = scan(s, news)
				if isBad(news) {
					bad++
				}
			}
		}
		assert.Positive(t, bad)
		assert.Equal(t, share.Bad*uint64(len(share.Pattern))*100, bad*share.Of)
	}
}

// aloneMutants are mistakes planted in a channel, in the Go logic and in the
// printed rules, with the numbers of the channel without them.
var aloneMutants = []struct {
	name     string
	property model.Property
	step     func(scan scanner, s monitor.Control, news monitor.Class) monitor.Control
	from, to string
}{
	{"a gap spends nothing", 4, func(scan scanner, s monitor.Control, news monitor.Class) monitor.Control {
		if s.Phase == monitor.Doubtful && news == monitor.Missing {
			next := scan(s, monitor.Between)
			heard := scan(monitor.Control{Class: s.Class, Age: s.Age}, news)
			next.Class, next.Age = heard.Class, heard.Age
			return next
		}
		return scan(s, news)
	}, "  spending := bad\nelif phase == SETTLING", "  spending := 0\n  if fresh == 1\n    spending := bad\n  end\nelif phase == SETTLING"},
	{"one good reading repays two bad ones", 5, func(scan scanner, s monitor.Control, news monitor.Class) monitor.Control {
		if s.Phase == monitor.Doubtful && news == monitor.Good {
			s.Doubt -= min(s.Doubt, 7)
		}
		return scan(s, news)
	}, "    if doubt <= REPAY\n      enter := BONDED\n    else\n      doubt := doubt - REPAY", "    if doubt <= REPAY + 7\n      enter := BONDED\n    else\n      doubt := doubt - REPAY - 7"},
	{"a good reading repays nothing", 6, func(scan scanner, s monitor.Control, news monitor.Class) monitor.Control {
		if s.Phase == monitor.Doubtful && news == monitor.Good {
			next := scan(s, monitor.Between)
			next.Class = monitor.Good
			return next
		}
		return scan(s, news)
	}, "  if cls == GOOD && fresh == 1\n    if doubt <= REPAY", "  if cls == GOOD && fresh == 2\n    if doubt <= REPAY"},
	{"an invalid reading repays", 9, func(scan scanner, s monitor.Control, news monitor.Class) monitor.Control {
		if s.Phase == monitor.Doubtful && news == monitor.Invalid {
			next := scan(s, monitor.Good)
			next.Class = monitor.Invalid
			return next
		}
		return scan(s, news)
	}, "  if cls == GOOD && fresh == 1\n    if doubt <= REPAY", "  if cls == INVALID && fresh == 1\n    bad := 0\n  end\n  if bad == 0 && cls != BETWEEN && fresh == 1\n    if doubt <= REPAY"},
	{"what could not be read stays so", 15, func(scan scanner, s monitor.Control, news monitor.Class) monitor.Control {
		next := scan(s, news)
		if s.Phase == monitor.Unreadable {
			next.Phase = monitor.Unreadable
		}
		return next
	}, "      phase := UNCONNECTED", "      phase := UNREADABLE"},
}

// A mistake planted in a channel is found by all three.
func TestPlantedMistakesInAChannelAreFoundByAll(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	a := aloneOf(t, slowly)
	for _, m := range aloneMutants {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			scan := real(&a.Config)
			q := asked{m.property, "", true, true}
			s, mine := restated(t, a, func(s monitor.Control, news monitor.Class) monitor.Control { return m.step(scan, s, news) }, q)
			s.plant(t, m.from, m.to)
			agree(t, s, mine, q)
		})
	}
}

// plant replaces a rule that is there once in every channel of the model.
func (s *Source) plant(t testing.TB, from, to string) {
	t.Helper()
	text := strings.Join(s.body, "\n")
	require.Equal(t, 1, strings.Count(text, from), "the rule to be mutated")
	text = strings.Replace(text, from, to, 1)
	if s.judged[0] == 9 {
		require.Equal(t, 1, strings.Count(text, second(from)), "the second rule to be mutated")
		text = strings.Replace(text, second(from), second(to), 1)
	}
	s.body = lines(text)
}
