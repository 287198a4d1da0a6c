package verify

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// The worst cases of a channel are found twice: here by a search through its
// whole graph, and in closed form by the site's timing, from which margin takes
// them. Both must say the same of every channel and class: responses counted in
// the longest scans, what is sure to be forgiven in the shortest.
func TestWorstCasesAgreeWithTheSitesTiming(t *testing.T) {
	short := 0 // of doubtful, so that a dip is lost while good readings repay it
	for _, k := range []struct {
		name  string
		doubt time.Duration
	}{{"kestrel_siding", 0}, {"amber_line", 0}, {"hazel_works", 0}, {"kestrel_siding", 800 * ms}, {"amber_line", 600 * ms}, {"hazel_works", 700 * ms}} {
		name := k.name
		s, problems := site.Read("../../testdata/sites/" + name + ".yaml")
		require.Nil(t, problems)
		for i := range s.Channels {
			if k.doubt > 0 {
				s.Channels[i].LongestDoubt = k.doubt
			}
		}
		m, err := model.FromSite(s)
		require.NoError(t, err)
		v, err := newVerification(m, model.Options{})
		require.NoError(t, err)
		clock, compared := s.Clock(), 0
		for i := range s.Channels {
			f, err := v.FactsOf(i)
			require.NoError(t, err)
			timing := s.Timing(m.Config, i)
			for _, class := range table.Bad {
				if !table.Possible(&m.Config.Channels[i].Config)[class] {
					continue
				}
				compared++
				short += model.Int(f.Patience[class] < dipsForgiven(&m.Config.Channels[i].Config, class))
				want, of := timing.Of(class), name+" "+s.Channels[i].Name+" "+class.String()
				require.Equal(t, want.GuaranteedScans, f.Patience[class], "%s: forgiven", of)
				require.Equal(t, want.DetectionScans, f.DetectOf[class], "%s: detected", of)
				require.GreaterOrEqual(t, f.Detect, f.DetectOf[class], "%s: a mixture is the worst", of)
				require.Equal(t, want.Detection, m.Longest(f.DetectOf[class])+v.slowest(len(s.Outputs), []int{i}), "%s: time to detect", of)
				require.Equal(t, want.Guaranteed, m.Forgiven(class, f.Patience[class]), "%s: time forgiven", of)
			}
			require.Equal(t, timing.Settle.Scans, f.BondScans, "%s %s: bond", name, s.Channels[i].Name)
			require.Equal(t, timing.Settle.Shortest, clock.Shortest(f.BondScans-1))
		}
		require.NotZero(t, compared, name)
	}
	require.Greater(t, short, 3)
}

// A dip that the budget covers is not forgiven where doubtful ends before good
// readings have repaid it. That is told, and a run shows it.
func TestDipThatCannotBeRepaidInTime(t *testing.T) {
	s, problems := site.Read("../../testdata/sites/amber_line.yaml")
	require.Nil(t, problems)
	for i := range s.Channels {
		s.Channels[i].LongestDoubt = 600 * ms
	}
	m, err := model.FromSite(s)
	require.NoError(t, err)
	r, err := Verify(m, model.Options{Properties: []string{"6"}, Outputs: []string{s.Outputs[0].Name}})
	require.NoError(t, err)
	require.Equal(t, Violated, r.Verdict())
	require.NotNil(t, r.Results[0].Counterexample, r.Results[0].Says)
	require.Contains(t, r.Results[0].Counterexample.Sentence, "must be forgiven")
}

// The window judges the setting of the file as the whole verification does, with
// a poll that is slower than a scan as well.
func TestWindowAgreesWithTheWorstCases(t *testing.T) {
	s, problems := site.Read("../../testdata/sites/kestrel_siding.yaml")
	require.Nil(t, problems)
	require.Greater(t, s.Poll, s.Period.Max)
	m, err := model.FromSite(s)
	require.NoError(t, err)
	v, err := newVerification(m, model.Options{})
	require.NoError(t, err)
	f, err := v.FactsOf(0)
	require.NoError(t, err)
	w := &Window{Output: "valve_1", Available: m.Longest(f.Detect) + v.slowest(0, []int{0})}
	high := s.Channels[0].Patience[monitor.High]
	cell := w.cell(s, 0, monitor.High, s.Period.Max, s.Channels[0].SettleTime, high, searched{})
	require.Equal(t, WindowShown, cell.Found)
	require.Equal(t, w.Available, cell.Detect)
	require.Equal(t, s.Timing(m.Config, 0).Of(monitor.High).Guaranteed, cell.Forgives)
	require.Equal(t, s.Timing(m.Config, 0).Settle.Shortest, cell.Ready)

	w.Disturbance = cell.Forgives - 1
	require.Equal(t, WindowShown, w.cell(s, 0, monitor.High, s.Period.Max, s.Channels[0].SettleTime, high, searched{}).Found)
	w.Disturbance, w.Available = cell.Forgives, w.Available-1
	require.Equal(t, WindowBoth, w.cell(s, 0, monitor.High, s.Period.Max, s.Channels[0].SettleTime, high, searched{}).Found)
}

// Where the scan period varies, responses take the longest scans and what is
// forgiven the shortest; where a poll is slower, it is added to the one and
// stands for whole readings in the other.
func TestScansBecomeTimesToTheCarefulSide(t *testing.T) {
	m := &model.Model{PeriodMin: 9 * ms, PeriodMax: 12 * ms, Poll: 12 * ms}
	require.Equal(t, 48*ms, m.Longest(4))
	require.Equal(t, 5*ms, m.Read(5*ms))
	require.Equal(t, 27*ms, m.Forgiven(monitor.High, 3))
	require.Equal(t, model.Scans(3), m.Hit(monitor.High, 27*ms-1))
	require.Equal(t, model.Scans(4), m.Hit(monitor.High, 27*ms), "it may begin just before a scan")
	require.Zero(t, m.Forgiven(monitor.Open, 0))

	m.Poll = 40 * ms // five of the shortest scans, so one bad reading is five bad scans
	require.Equal(t, 45*ms, m.Read(5*ms))
	require.Equal(t, model.Scans(5), m.Hit(monitor.High, 40*ms-1))
	require.Equal(t, model.Scans(10), m.Hit(monitor.High, 40*ms))
	require.Equal(t, 40*ms, m.Forgiven(monitor.High, 9))
	// One reading lost: 80 ms from the one before to the one after, nine scans of
	// 9 ms start in it, and the last of them already shows the next reading.
	require.Equal(t, model.Scans(8), m.Hit(monitor.Missing, 40*ms-1))
}

const ms = time.Millisecond

// The window searches a channel once for all settle times. What comes out is what
// a search with each of them finds.
func TestOnceBondedSettlingIsNotLookedAt(t *testing.T) {
	for _, change := range []func(*monitor.Config){
		func(*monitor.Config) {},
		integrating,
		func(c *monitor.Config) { c.SettleScans, c.SettlePause = 20, 0 },
		func(c *monitor.Config) { c.SettleReadings = 40 },
	} {
		c := demoChannel()
		change(&c)
		whole, err := table.Tabulate(model.Real(), &c, 1<<30)
		require.NoError(t, err)
		detect, _ := whole.LongestBad(table.Bad[:])
		for _, class := range table.Bad {
			worst, err := searched{}.search(c, class, 1)
			require.NoError(t, err)
			require.Equal(t, worstOfClass{detect, whole.ShortestDip(class, 1)}, worst, class)
		}
	}
}
