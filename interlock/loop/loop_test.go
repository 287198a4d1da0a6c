package loop

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// plant is one good clamp and one permissive that needs nothing else; what it
// does in a scan is up to the test.
type plant struct {
	config   *interlock.Config
	atScan   map[uint64]func() error
	restarts map[uint64]bool
	length   uint64
	seen     []interlock.CoilSet // what the source was told of
}

func newPlant(t *testing.T, length uint64) *plant {
	channel := monitor.Config{
		Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, StaleAfter: 1,
		SettleScans: 3, SettleReadings: 3, Full: 1, Repay: 1, LongestStay: 1,
		Cost: [monitor.Classes]monitor.Parts{1, 1, 1, 1, 0, 0},
	}
	bond, err := interlock.ParsePermissive("bond", func(name string) (int, bool) { return 0, name == "bond" })
	require.NoError(t, err)
	c := &interlock.Config{
		Channels: []interlock.Channel{{Config: channel}},
		Outputs:  []interlock.Output{{Permissive: bond, Automatic: true}},
	}
	require.NoError(t, c.Compile())
	return &plant{config: c, length: length, atScan: map[uint64]func() error{}, restarts: map[uint64]bool{}}
}

func (p *plant) Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	p.seen = append(p.seen, coils)
	in.Readings[0] = monitor.Reading{Value: 1e6, Quality: monitor.Valid}
	if act, ok := p.atScan[scan]; ok {
		if err := act(); err != nil {
			return true, err
		}
	}
	return scan < p.length, nil
}

func (p *plant) PowerUp(scan uint64) bool { return p.restarts[scan] }

type watcher func(*Turn) error

func (w watcher) Watch(t *Turn) error { return w(t) }

func TestRunTurnsToTheEndAndTellsTheSourceOfItsCoils(t *testing.T) {
	p := newPlant(t, 10)
	l := New(p.config)
	scans := 0
	require.NoError(t, l.Run(p, watcher(func(turn *Turn) error {
		require.Equal(t, uint64(scans), turn.Scan)
		scans++
		return nil
	})))
	require.Equal(t, 10, scans)
	require.True(t, l.Decision.Coils.Energised(0), "a settled bond enables")
	require.False(t, p.seen[2].Energised(0))
	require.True(t, p.seen[3].Energised(0), "the source hears of the decision one scan later")
}

func TestWhateverGoesWrongWithholds(t *testing.T) {
	broken := errors.New("cable gone")
	for name, arrange := range map[string]func(p *plant) []Watcher{
		"source error": func(p *plant) []Watcher { p.atScan[8] = func() error { return broken }; return nil },
		"source panic": func(p *plant) []Watcher { p.atScan[8] = func() error { panic("index") }; return nil },
		"watcher error": func(p *plant) []Watcher {
			return []Watcher{watcher(func(turn *Turn) error {
				if turn.Scan == 8 {
					return broken
				}
				return nil
			})}
		},
		"watcher panic": func(p *plant) []Watcher {
			return []Watcher{watcher(func(turn *Turn) error {
				if turn.Scan == 8 {
					panic("index")
				}
				return nil
			})}
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPlant(t, 20)
			l := New(p.config)
			watchers := arrange(p)
			err := l.Run(p, watchers...)
			require.Error(t, err)
			require.True(t, p.seen[7].Energised(0), "it ran before")
			require.Zero(t, l.Decision.Coils)
			require.False(t, l.Decision.Kick)
			var internal InternalError
			if errors.As(err, &internal) {
				require.Equal(t, uint64(8), internal.Scan)
			} else {
				require.ErrorIs(t, err, broken)
			}
		})
	}
}

func TestALossOfSupplyForgets(t *testing.T) {
	p := newPlant(t, 12)
	p.restarts[8] = true
	l := New(p.config)
	var energised []bool
	require.NoError(t, l.Run(p, watcher(func(turn *Turn) error {
		energised = append(energised, turn.Decision.Coils.Energised(0))
		return nil
	})))
	require.True(t, energised[7])
	require.Equal(t, []bool{false, false, true}, energised[8:11], "three fresh readings again")
}
