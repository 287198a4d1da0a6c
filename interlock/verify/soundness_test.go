package verify

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// The four conditions under which the search is sound (practice: few channels
// concrete, the rest free, is an over-approximation IF …), each as a test.

// (c) A channel's step sees its own configuration, state and reading only, and
// depends on the reading only through its class; stamps and the account of who
// spent the doubt decide nothing.
func TestChannelDependsOnReadingThroughItsClassOnly(t *testing.T) {
	c := demoChannel()
	steps, err := table.Tabulate(model.Real(), &c, 1<<30)
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(1, 2))
	checked := 0
	for _, s := range steps.States {
		for n := 0; n < 20; n++ {
			in := monitor.Reading{Value: monitor.Microohm(random.Int64N(2e9) - 1e6), Quality: monitor.Quality(random.IntN(4)), Stamp: uint16(random.IntN(6))}
			var spent [monitor.Classes]monitor.Parts
			for i := range spent {
				spent[i] = monitor.Parts(random.Uint32())
			}
			one := monitor.State{Control: s.Control, Stamp: uint16(random.IntN(6)), Seen: random.IntN(2) == 0, Spent: spent}
			news := monitor.Hear(&c, &one, in)
			require.Equal(t, monitor.Advance(&c, s.Control, news), monitor.Step(&c, one, in).Control)
			checked++
		}
	}
	require.Greater(t, checked, 100_000)
}

// (a) What hangs on a channel sees of it two bits, and what a bypass and the
// charge memory ask: the letter. Two channels in different states that show the
// same letter lead everything else to the same states.
func TestRestSeesOfAChannelItsLetterOnly(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	steps, err := table.Tabulate(model.Real(), &m.Config.Channels[0].Config, 1<<30)
	require.NoError(t, err)
	type way struct {
		state table.ChannelState
		news  monitor.Class
	}
	byLetter := map[table.Letter][]way{}
	for i, s := range steps.States {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for _, e := range steps.From(uint32(i), news) {
				if stepped, letter := table.StepChannel(model.Real(), steps.Config, s, news); letter == e.Letter && steps.Index[stepped] == e.Next {
					byLetter[e.Letter] = append(byLetter[e.Letter], way{s, news})
				}
			}
		}
	}
	require.GreaterOrEqual(t, len(byLetter), 7)
	random := rand.New(rand.NewPCG(3, 4))
	base := runs.NewDriver(model.Real(), m.Config, 0)
	compared := 0
	for n := 0; n < 1500; n++ {
		base.Healthy()
		disturb(base, random, 0.3)
		for letter, ways := range byLetter {
			var after [2]*runs.Driver
			for i := range after {
				d := base.CopyOf()
				d.In = copyInputs(base.In)
				w := ways[random.IntN(len(ways))]
				d.State.Channels[0] = interlock.ChannelState{State: monitor.State{Control: w.state.Control}, Parted: w.state.Parted}
				d.In.Readings[0] = table.ReadingOf(steps.Config, w.news, 9)
				d.Turn()
				d.State.Channels[0] = interlock.ChannelState{}
				for o := range d.State.Outputs {
					d.State.Outputs[o].Trip = interlock.TripRecord{} // a record for people
				}
				after[i] = d
			}
			require.Equal(t, after[0].State, after[1].State, "letter %d", letter)
			require.Equal(t, after[0].Decision.Coils, after[1].Decision.Coils)
			compared++
		}
		base.Turn()
	}
	require.Greater(t, compared, 10_000)
}

func copyInputs(in *interlock.Inputs) *interlock.Inputs {
	return &interlock.Inputs{Readings: append([]monitor.Reading(nil), in.Readings...), Signals: append([]interlock.Signal(nil), in.Signals...), Overrun: in.Overrun}
}

// disturb makes some of a healthy scan's inputs random.
func disturb(d *runs.Driver, random *rand.Rand, often float64) {
	for i := range d.In.Readings {
		if random.Float64() < often {
			d.In.Readings[i] = table.ReadingOf(&d.Config.Channels[i].Config, monitor.Class(random.IntN(monitor.Classes)), d.Stamp)
		}
	}
	for i := range d.In.Signals {
		if random.Float64() < often {
			d.In.Signals[i] = interlock.Signal(random.IntN(4))
		}
	}
	d.In.Overrun = random.Float64() < often/20
	if random.Float64() < often/50 {
		d.State.PowerUp()
	}
}

// (b) Everything shared is in the searched model, and nothing that the real site
// does leads out of it: every state that the real Step reaches in long random
// runs is one that the search has reached.
func TestEveryConcreteStateIsReachedByTheSearch(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	v, err := newVerification(m, model.Options{})
	require.NoError(t, err)
	var sets []*reached
	for _, job := range v.plan() {
		sets = append(sets, reachedBy(t, v, job))
	}
	require.NotEmpty(t, sets)
	random := rand.New(rand.NewPCG(5, 6))
	looked := 0
	for _, often := range []float64{0.002, 0.01, 0.05, 0.3} {
		d := runs.NewDriver(model.Real(), m.Config, 0)
		for n := 0; n < 12_000; n++ {
			d.Target = n / 200 % len(m.Config.Outputs)
			d.Healthy()
			disturb(d, random, often)
			d.Turn()
			for _, r := range sets {
				require.True(t, r.has(d.State), "%s of %s with %s, scan %d", r.job.Kind, r.job.Output, r.job.Channel, n)
				looked++
			}
		}
	}
	require.Greater(t, looked, 200_000)
}

// reached is the set of states of one search without what the properties
// remember.
type reached struct {
	job   *Searched
	p     *search.Product
	wait  *table.WaitModel
	shape *table.OutputShape
	set   map[concrete]bool
}

type concrete struct {
	out, column uint32
	vessel      table.VesselKey
	stopped     [table.MaxStreams]uint8
}

func reachedBy(t *testing.T, v *verification, job *Searched) *reached {
	p, err := v.product(job, 1<<30)
	require.NoError(t, err)
	require.NoError(t, p.Run())
	output, err := v.OutputTable(&v.Model.Config.Outputs[job.output], job.Kind == "wait")
	require.NoError(t, err)
	r := &reached{job: job, p: p, shape: output.Shape, set: map[concrete]bool{}}
	if job.Kind == "wait" {
		r.wait = table.NewWaitModel(v.Logic, v.Model.Config, job.output, job.vessel, output)
		_, err := r.wait.Stem(v.focusOf(job), p.Channel.Letters(), 0)
		require.NoError(t, err)
	}
	for row := 0; row < p.Stem.Rows; row++ {
		key := concrete{out: uint32(output.States[min(row, len(output.States)-1)] & (1<<table.WatchShift - 1))}
		if r.wait != nil {
			k := r.wait.Keys[row]
			key = concrete{out: uint32(output.States[k.Out] & (1<<table.WatchShift - 1)), vessel: r.wait.Vessel.States[k.Vessel], stopped: k.Stopped}
			key.vessel.Watch = table.VesselWatch{}
		}
		for column := range p.Channel.States {
			if p.Seen[row*p.Words+column>>6]>>(column&63)&1 == 1 {
				key.column = uint32(column)
				r.set[key] = true
			}
		}
	}
	return r
}

func (r *reached) has(s *interlock.State) bool {
	ch := s.Channels[r.job.channel]
	state := table.ChannelState{Control: ch.Control, Parted: ch.Parted}
	t := r.p.Channel
	state.Stay = t.Stay.First[t.Stay.Index(state.Stay)]
	column, ok := t.Index[state]
	if !ok {
		return false
	}
	key := concrete{out: r.shape.Pack(s.Outputs[r.job.output].OutputControl), column: column}
	if r.wait != nil {
		w := &s.Vessels[r.job.vessel]
		key.vessel = table.VesselKey{Clear: w.Clear, Held: w.Held, Early: w.Early, Waited: r.wait.Vessel.Waited.Index(w.Waited)}
		for i := range r.wait.Streams {
			key.stopped[i] = uint8(r.wait.Streams[i].Stopped.Index(s.Streams[0].Stopped))
		}
	}
	return r.set[key]
}

// (d) The cone is computed from how the parts are linked: whatever is outside
// changes nothing about a running output, and every cause of its permissive, its
// evidence, its buttons and what calls it as a backup are inside.
func TestConeIsComputed(t *testing.T) {
	m := bay(t, 3, nil)
	v, err := newVerification(m, model.Options{})
	require.NoError(t, err)
	name := func(text string) int {
		for c := 0; c < len(m.Config.Channels)+len(m.Config.Inputs); c++ {
			if m.Cause(c) == text {
				return c
			}
		}
		t.Fatalf("no cause %s", text)
		return 0
	}
	valve := v.Model.Cone(0)
	for _, inside := range []string{"bond_1", "here_car_1", "reset_car_1", "closed_car_1", "opened_car_1"} {
		require.True(t, valve[name(inside)], inside)
	}
	for _, outside := range []string{"bond_2", "here_car_2", "reset_pump", "ack_car_2", "closed_car_3"} {
		require.False(t, valve[name(outside)], outside)
	}
	pump := v.Model.Cone(3) // every valve calls it as a backup
	for _, inside := range []string{"bond_1", "bond_3", "closed_car_2", "here_car_3"} {
		require.True(t, pump[name(inside)], inside)
	}
}
