package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
)

// distances lead a falsifier to what a search has found. The table says of every state of the
// searched product how many scans it is away, at least, from one that violates a
// property: the same search run backwards, from all violations at once, over the
// states that the search has reached. A state of the whole site is looked up by
// what the product sees of it; so a falsifier that follows the distances makes a run of
// the product concrete, and where the whole site does not follow, it tries the
// next best at once.
type distances struct {
	v       *verification
	job     *Searched
	channel *table.ChannelTable
	output  *table.OutputTable
	wait    *table.WaitModel // nil where buttons and delays were searched
	columns int
	far     []uint8 // by row and column; 0 is not known to lead there
}

// nowhere is farther than any distance.
const nowhere = 1 << 8

// maxCompass is the most states of a product that are looked at once more.
const maxDistanceStates = 400 << 20

// distancesTo searches a product again, forwards and then backwards from what
// violates the property.
func (v *verification) distancesTo(job *Searched, property model.Property) *distances {
	steps, err := v.ChannelTable(&v.Model.Config.Channels[job.channel].Config)
	if err != nil {
		return nil
	}
	c := &distances{v: v, job: job, channel: steps, columns: len(steps.States)}
	if c.output, err = v.OutputTable(&v.Model.Config.Outputs[job.output], job.Kind == searchWait); err != nil {
		return nil
	}
	stem := (*table.Stem)(nil)
	if job.Kind == searchWait {
		c.wait = table.NewWaitModel(v.Logic, v.Model.Config, job.output, job.vessel, c.output)
		if stem, err = c.wait.Stem(v.focusOf(job), steps.Letters(), v.Options.MemoryLimit()); err != nil {
			return nil
		}
	} else {
		stem = table.ResetStem(v.Logic, c.output, v.focusOf(job), steps.Letters())
	}
	if uint64(stem.Rows*c.columns) > min(maxDistanceStates, v.Options.MemoryLimit()) {
		return nil
	}
	there := &search.Product{Channel: steps, Stem: stem, Workers: v.Options.Workers}
	if there.Run() != nil {
		return nil
	}
	c.backwards(there, property)
	return c
}

// backwards fills in the distances.
func (c *distances) backwards(there *search.Product, property model.Property) {
	c.far = make([]uint8, there.Stem.Rows*c.columns)
	back := &search.Product{Channel: c.channel.Reversed(), Stem: there.Stem.Reversed(), Workers: there.Workers}
	back.Begin = func() { back.BeginAt(there, property) }
	back.Keep = func(level int, w *search.Wave) {
		for i, row := range w.Rows {
			words := w.At(i, back.Words)
			l := search.Front{At: []uint32{0}, Words: []uint64{0}}
			for i, w := range words {
				l.At[0], l.Words[0] = uint32(i), w
				l.Each(back.Words, func(at search.Visited) bool {
					c.far[int(row)*c.columns+int(at.Column)] = uint8(min(level+1, nowhere-1))
					return false
				})
			}
		}
	}
	_ = back.Run() // without a memory limit it ends well
}

// away is how far a state of the whole site is from a violation, at least.
func (c *distances) away(o *observer, s *interlock.State, m *memory) uint32 {
	ch := &s.Channels[c.job.channel]
	column, ok := c.channel.Known(table.ChannelState{Control: ch.Control, Parted: ch.Parted})
	if !ok {
		return nowhere
	}
	best := uint32(nowhere)
	c.rows(o, s, m, func(row uint32) {
		if far := c.far[int(row)*c.columns+int(column)]; far > 0 {
			best = min(best, uint32(far))
		}
	})
	return best
}

// rows calls f with every row that a state can stand for.
func (c *distances) rows(o *observer, s *interlock.State, m *memory, f func(uint32)) {
	seen := m.watch
	if c.wait != nil {
		seen = table.Watch{Away: seen.Away, Home: seen.Home}
	}
	word := uint64(c.output.Shape.Pack(s.Outputs[c.job.output].OutputControl)) | seen.Pack()
	out, ok := c.output.Index[word]
	switch {
	case !ok:
		return
	case c.wait == nil:
		f(out)
		return
	}
	n := 0
	for n < len(o.vessels) && o.vessels[n] != c.job.vessel {
		n++
	}
	if n == len(o.vessels) {
		return
	}
	vessel := &s.Vessels[c.job.vessel]
	key := table.WaitKey{Out: out}
	for i := range c.wait.Streams {
		part := &c.wait.Streams[i]
		key.Stopped[i] = uint8(part.Stopped.Index(s.Streams[part.Number].Stopped))
	}
	for _, steady := range [...]bool{false, true} {
		at, ok := c.wait.Vessel.Index[table.VesselKey{Clear: vessel.Clear, Held: vessel.Held, Early: vessel.Early, Waited: c.wait.Vessel.Waited.Index(vessel.Waited),
			Watch: table.VesselWatch{Paid: m.vessels[n].paid, Early: m.vessels[n].early, Steady: steady}}]
		if !ok {
			continue
		}
		key.Vessel = at
		if row, ok := c.wait.Row(key); ok {
			f(row)
		}
	}
}
