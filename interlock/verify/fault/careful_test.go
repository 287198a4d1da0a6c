package fault

import (
	"testing"

	"github.com/stretchr/testify/require"

	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// forgotten are the fields of an entry that the table asks of a fault, each left out.
var forgotten = map[string]func(*catalogue.Fault){
	"Course":   func(f *catalogue.Fault) { f.Course = 0 },
	"Bond":     func(f *catalogue.Fault) { f.Bond = 0 },
	"Hides":    func(f *catalogue.Fault) { f.Hides = 0 },
	"Evidence": func(f *catalogue.Fault) { f.Evidence = 0 },
	"Fits":     func(f *catalogue.Fault) { f.Fits = 0 },
	"all":      func(f *catalogue.Fault) { f.Course, f.Bond, f.Hides, f.Evidence, f.Fits = 0, 0, 0, 0, 0 },
}

// friendlier says that a row promises more than another: it is found more surely, or
// it does not defeat where the other does.
func friendlier(a, b *Row) bool {
	return foundRank[a.Found] < foundRank[b.Found] || b.Defeats && !a.Defeats
}

// Whatever an entry of the catalogue leaves out is taken for the worst: its row is
// not friendlier than with everything said, on a channel with evidence and on one
// without, and the fault is at no place less.
func TestWhatAnEntryLeavesOutIsTakenForTheWorst(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	worse := map[string]int{}
	for output := range m.Names.Outputs {
		x := placerOn(runs.NewBench(m, model.Options{})).newCampaign(output)
		near := x.near(output)
		for _, f := range catalogue.All() {
			for name, forget := range forgotten {
				hurried := *f
				forget(&hurried)
				places := map[string]*placed{}
				for _, at := range x.targets(&hurried, &near) {
					at.looks = x.looks(&hurried, at.target)
					places[at.On] = &at
				}
				for _, at := range x.targets(f, &near) {
					at.looks = x.looks(f, at.target)
					if len(at.looks) == 0 {
						continue
					}
					require.NotNil(t, places[at.On], "%s without %s is not on %s any more", f.Name, name, at.On)
					said, left := x.row(&at, nil).row, x.row(places[at.On], nil).row
					require.False(t, friendlier(&left, &said), "%s on %s without %s:\n%+v, with it\n%+v", f.Name, at.On, name, left, said)
					if friendlier(&said, &left) {
						worse[name]++
					}
				}
			}
		}
	}
	for name := range forgotten {
		if name != "Fits" && name != "Evidence" {
			require.NotZero(t, worse[name], "nothing hangs on %s", name)
		}
	}
}

// A fault that can read more than before gets no friendlier row.
func TestAWiderFaultIsNotFriendlier(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	x := placerOn(runs.NewBench(m, model.Options{})).newCampaign(0)
	near := x.near(0)
	for _, f := range catalogue.All() {
		if f.On != catalogue.OnChannel {
			continue
		}
		for member := catalogue.AsBefore; member <= catalogue.ComesAgain; member <<= 1 {
			wider := *f
			wider.Sees.Readings |= member
			for _, at := range x.targets(f, &near) {
				more := at
				more.Fault = &wider
				at.looks, more.looks = x.looks(f, at.target), x.looks(&wider, at.target)
				said, wide := x.row(&at, nil).row, x.row(&more, nil).row
				require.False(t, friendlier(&wide, &said), "%s on %s with %d:\n%+v, without\n%+v", f.Name, at.On, member, wide, said)
			}
		}
	}
}

// A second fault that may show nothing makes no row friendlier, and what defeats alone
// is in no pair that is said to need both.
func TestAnAddedFaultIsNotFriendlier(t *testing.T) {
	table := tabulated(t, bay(t), true, "valve_1")
	require.Greater(t, table.Pairs, 500)
	single, idle := map[string]*Row{}, map[string]bool{}
	for i := range table.Rows {
		if r := &table.Rows[i]; r.Second == "" {
			single[r.Fault+r.On], idle[r.Fault+r.On] = r, r.Found == NotDetected
		}
	}
	for i := range table.Rows {
		r := &table.Rows[i]
		if r.Second == "" {
			continue
		}
		one, other := single[r.Fault+r.On], single[r.Second+r.SecondOn]
		require.False(t, r.Minimal && (one.Defeats || other.Defeats), "%+v", r)
		require.False(t, idle[r.Second+r.SecondOn] && friendlier(r, one), "%+v, alone %+v", r, one)
		require.False(t, idle[r.Fault+r.On] && friendlier(r, other), "%+v, alone %+v", r, other)
	}
}
