package joint

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// Timer is a bypass with its key, tabulated: its counters in cells, the key free.
// The rest sees of it whether it is on.
type Timer struct {
	Channel string   // that it stands in for
	Words   []uint64 // 0 is power-up
	Steps   []TimerStep
}

// TimerStep is one step of a bypass; Bad is that it is on beyond its time, or begins
// without a fresh 1 of its key after a valid 0, or before its gap.
type TimerStep struct {
	From, To uint32
	Bad      bool
}

// On says that a bypass is on in the state with this word.
func (t *Timer) On(word uint64) bool { return word&7 != 0 }

type timerKey struct {
	active, gap uint32 // cells
	low         bool
	watchLow    bool  // a valid 0 was seen since the last 1, by the words
	button      uint8 // the key's value in effect
}

func (k timerKey) pack() uint64 {
	p := table.Packer{}
	p.Add(k.active, 3)
	p.Flag(k.low)
	p.Flag(k.watchLow)
	p.Add(k.gap, 3)
	p.Add(uint32(k.button), 2)
	return uint64(p.Word)
}

// tabulateTimer follows a bypass beside the words of its key. That its counters
// count right, value by value, is the lemma of the bypass.
func tabulateTimer(logic *model.Logic, c *interlock.Bypass) *Timer {
	active := model.CellsOf(c.For.Next(), 0, 1, c.For, c.For.Next())
	gap := model.CellsOf(c.Gap.Next(), 0, 1, c.Gap, c.Gap.Next())
	t, keys, index := &Timer{}, []timerKey{{}}, map[timerKey]uint32{{}: 0}
	for from := 0; from < len(keys); from++ {
		k := keys[from]
		add := func(was interlock.BypassState, r table.Level) {
			is := logic.Bypass(c, was, r.Value, r.Fresh)
			words := table.KeyMemory{Low: k.watchLow}.See(r.Value, r.Fresh, false, c.Gap)
			to := timerKey{active.Index(is.Active), gap.Index(is.Gap), is.Low, words.Low, table.ButtonOf(r.Value)}
			if _, known := index[to]; !known {
				index[to] = uint32(len(keys))
				keys = append(keys, to)
			}
			pressed := k.watchLow && r.Value == interlock.True && r.Fresh && was.Gap > c.Gap
			bad := is.Active > 0 && (was.Active >= c.For || was.Active == 0 && !pressed)
			if step := (TimerStep{uint32(from), index[to], bad}); !slices.Contains(t.Steps, step) {
				t.Steps = append(t.Steps, step)
			}
		}
		active.Each(k.active, func(on model.Scans) {
			gap.Each(k.gap, func(off model.Scans) {
				for _, r := range table.Levels {
					if r.Follows(k.button) {
						add(interlock.BypassState{Low: k.low, Active: on, Gap: off}, r)
					}
				}
			})
		})
	}
	for _, k := range keys {
		t.Words = append(t.Words, k.pack())
	}
	return t
}

// Bypasses lists the bypasses of channels that the output needs.
func (j *Problem) Bypasses() (names []string) {
	v := j.bench
	for i, b := range v.Model.Config.Bypasses {
		if slices.Contains(v.Model.ChannelsOf(j.Number, -1), b.Channel) && slices.Contains(v.Model.Needed(j.Number), b.Channel) {
			names = append(names, v.Model.Names.Bypasses[i])
		}
	}
	return names
}

// WithBypass puts the timer of one bypass beside the channels of the output. The
// others are free.
func (j *Problem) WithBypass(name string) *Problem {
	v, with := j.bench, *j
	b := &v.Model.Config.Bypasses[slices.Index(v.Model.Names.Bypasses, name)]
	with.Timer = tabulateTimer(v.Logic, b)
	with.Timer.Channel = v.Model.Names.Channels[b.Channel]
	return &with
}
