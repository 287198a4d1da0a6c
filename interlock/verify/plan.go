package verify

import (
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
)

// Searched is one product that was searched in full.
type Searched struct {
	Kind     string            `json:"kind"` // reset or wait
	Output   string            `json:"output"`
	Channel  string            `json:"channel"`
	Vessel   string            `json:"vessel,omitempty"`
	Columns  int               `json:"channel_states"`
	Rows     int               `json:"rows"`
	States   uint64            `json:"states"`
	Steps    uint64            `json:"transitions"`
	Levels   int               `json:"levels"`
	Bytes    uint64            `json:"bytes"`
	SameAs   string            `json:"same_as,omitempty"` // the product with equal settings that was searched in its place
	Hit      model.PropertySet `json:"-"`
	Bad      model.PropertySet `json:"-"`
	cut      bool
	output   int
	channel  int
	vessel   int
	key      string
	cutOff   error
	jointly  string                   // how many joint states it stands for; empty of a search of its own
	FirstBad [model.MaxProperties]int `json:"-"`
}

// plan lists every product of the wanted outputs.
func (v *verification) plan() []*Searched {
	var jobs []*Searched
	c := v.Model.Config
	for _, o := range v.outputs {
		channels := v.Model.ChannelsOf(o, -1)
		for _, ch := range channels {
			jobs = append(jobs, v.job(searchReset, o, ch, -1))
		}
		for _, vessel := range c.VesselsOf(o) {
			for _, ch := range v.Model.ChannelsOf(o, vessel) {
				jobs = append(jobs, v.job(searchWait, o, ch, vessel))
			}
		}
	}
	return jobs
}

func (v *verification) job(kind string, output, channel, vessel int) *Searched {
	s := &Searched{Kind: kind, Output: v.Model.Names.Outputs[output], Channel: v.Model.Names.Channels[channel], output: output, channel: channel, vessel: vessel}
	if vessel >= 0 {
		s.Vessel = v.Model.Names.Vessels[vessel]
	}
	s.cut = model.IsCut(v.Model.Config.Outputs[output].Permissive, channel)
	s.key = v.keyOf(s)
	return s
}

// focusOf is the channel of a job and how the output hangs on it.
func (v *verification) focusOf(s *Searched) *table.Focus {
	return v.Focus(s.output, s.channel, s.vessel)
}

// keyOf writes down everything that a product depends on. Products with the same
// key are the same search: symmetry is used only where settings are equal byte
// for byte.
func (v *verification) keyOf(s *Searched) string {
	c, f := v.Model.Config, v.focusOf(s)
	key := fmt.Sprintf("%s %+v %v %v %v %v %v %v %v %v|", s.Kind, f.Channel.Config, f.Channel.Evidence != 0, f.Perm, f.Bond, f.InVessel, f.Cut, f.Bypassed, f.LostToo, f.OthersBond)
	key += runs.OutputKey(&c.Outputs[s.output])
	if s.vessel < 0 {
		return key
	}
	vessel := &c.Vessels[s.vessel]
	key += fmt.Sprintf("|%d %d %+v %v|%v", vessel.Wait, vessel.Rest, vessel.Press, vessel.Acknowledge != 0, len(c.VesselsOf(s.output)) > 1)
	others := 0
	for _, i := range c.StreamsOf(s.output) {
		others += model.Int(!slices.Contains(c.ChargedBy(s.vessel), i))
	}
	key += fmt.Sprintf("|%v", others > 0)
	for _, i := range c.ChargedBy(s.vessel) {
		st := &c.Streams[i]
		others := 0
		for _, o := range st.Through {
			others += model.Int(o != s.output)
		}
		key += fmt.Sprintf("|%d %v %v %v %v", st.RunDown, st.Flow != 0, c.StreamConfirmable(i), slices.Contains(st.Through, s.output), others > 0)
	}
	return key
}

// search runs every product that differs from those before it.
func (v *verification) search(jobs []*Searched) error {
	first := map[string]*Searched{}
	var todo []*Searched
	for _, s := range jobs {
		if first[s.key] == nil {
			first[s.key] = s
			todo = append(todo, s)
		}
	}
	workers := v.Options.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	shared := min(workers, max(1, len(todo)))
	each := v.Options.MemoryLimit() / uint64(shared)
	queue := make(chan *Searched, len(todo))
	for _, s := range todo {
		queue <- s
	}
	close(queue)
	var wg sync.WaitGroup
	var mu sync.Mutex
	var failed error
	v.progress = newProgress(len(todo), v.Options.Progress)
	for i := 0; i < workers; i++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for s := range queue {
				err := v.one(s, each, max(1, workers/len(todo)))
				var cut *table.CutOff
				mu.Lock()
				if errors.As(err, &cut) {
					if cut.Limit = v.Options.MemoryLimit(); shared > 1 { // as it was asked for
						cut.Where += fmt.Sprintf(", %d at the same time", shared)
					}
					s.cutOff = err
				} else if err != nil && failed == nil {
					failed = err
				}
				mu.Unlock()
				v.progress.finished(s)
			}
		}()
	}
	wg.Wait()
	for _, s := range jobs {
		if from := first[s.key]; from != s {
			output, channel, vessel, names := s.output, s.channel, s.vessel, *s
			*s = *from
			s.output, s.channel, s.vessel = output, channel, vessel
			s.Output, s.Channel, s.Vessel = names.Output, names.Channel, names.Vessel
			s.SameAs = from.Output + " with " + from.Channel
		}
	}
	return failed
}

// one searches one product.
func (v *verification) one(s *Searched, memory uint64, workers int) error {
	p, err := v.product(s, memory)
	if err != nil {
		return err
	}
	p.Workers = workers
	p.Told = v.progress.follow(s)
	if err := p.Run(); err != nil {
		return err
	}
	s.Columns, s.Rows = len(p.Channel.States), p.Stem.Rows
	s.States, s.Steps, s.Levels, s.Bytes = p.States(), p.Transitions, p.Levels, p.Bytes()
	s.Hit, s.Bad, s.FirstBad = p.Hit, p.Bad, p.FirstBad
	return nil
}

// product builds the tables of one job.
func (v *verification) product(s *Searched, memory uint64) (*search.Product, error) {
	steps, err := v.ChannelTable(&v.Model.Config.Channels[s.channel].Config)
	if err != nil {
		return nil, err
	}
	f := v.focusOf(s)
	var stem *table.Stem
	output, err := v.OutputTable(&v.Model.Config.Outputs[s.output], s.Kind == searchWait)
	if err != nil {
		return nil, err
	}
	key := fmt.Sprint(s.key, steps.Letters())
	v.Tables.Lock()
	stem = v.stems[key]
	v.Tables.Unlock()
	switch {
	case stem != nil:
	case s.Kind == searchReset:
		stem = table.ResetStem(v.Logic, output, f, steps.Letters())
	default:
		m := table.NewWaitModel(v.Logic, v.Model.Config, s.output, s.vessel, output)
		if stem, err = m.Stem(f, steps.Letters(), memory); err != nil {
			return nil, err
		}
	}
	if v.stems != nil {
		v.Tables.Lock()
		v.stems[key] = stem
		v.Tables.Unlock()
	}
	return &search.Product{Channel: steps, Stem: stem, Memory: memory}, nil
}
