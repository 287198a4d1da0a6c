package verify

import (
	"fmt"
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
	"sync"
)

// Bench is the real logic of a site with everything that was worked out about its
// parts: tables and worst cases of channels and outputs, found once each, and the
// whole site brought to where an output runs, from where every later question about
// the real logic begins.
type Bench struct {
	model   *model.Model
	options model.Options
	logic   *model.Logic

	tables    sync.Mutex
	byChannel map[monitor.Config]*table.ChannelTable
	byOutput  map[string]*table.OutputTable
	facts     map[monitor.Config]table.ChannelFacts
	started   map[int]*started
}

// NewBench has worked out nothing yet.
func NewBench(m *model.Model, o model.Options) *Bench {
	return &Bench{model: m, options: o, logic: o.LogicInUse(),
		byChannel: map[monitor.Config]*table.ChannelTable{}, byOutput: map[string]*table.OutputTable{}, facts: map[monitor.Config]table.ChannelFacts{}, started: map[int]*started{}}
}

// channelTable tabulates each different setting of a channel once.
func (b *Bench) channelTable(c *monitor.Config) (*table.ChannelTable, error) {
	b.tables.Lock()
	defer b.tables.Unlock()
	if t := b.byChannel[*c]; t != nil {
		return t, nil
	}
	t, err := table.Tabulate(b.logic, c, b.options.MemoryLimit())
	if err == nil {
		b.byChannel[*c] = t
	}
	return t, err
}

func (b *Bench) outputTable(o *interlock.Output, brief bool) (*table.OutputTable, error) {
	key := fmt.Sprint(brief) + outputKey(o)
	b.tables.Lock()
	defer b.tables.Unlock()
	if t := b.byOutput[key]; t != nil {
		return t, nil
	}
	t, err := table.TabulateOutput(b.logic, table.ShapeOf(o, brief), b.options.MemoryLimit())
	if err == nil {
		b.byOutput[key] = t
	}
	return t, err
}

// factsOf are the worst cases of a channel, found once for each setting.
func (b *Bench) factsOf(channel int) (table.ChannelFacts, error) {
	c := b.model.Config.Channels[channel].Config
	if f, ok := b.facts[c]; ok {
		return f, nil
	}
	t, err := b.channelTable(&c)
	if err != nil {
		return table.ChannelFacts{}, err
	}
	f := t.Facts(b.options.MemoryLimit(), b.model.Held())
	b.facts[c] = f
	return f, nil
}

// start drives the whole site until an output runs, and with it what stands in
// series with it, so that product flows; every later question about the real
// logic begins from there.
func (b *Bench) start(output int) *started {
	return b.startWith(output, b.model.InSeries(output))
}

// startWith brings some outputs to run, one after the other, and then the one.
func (b *Bench) startWith(output int, others []int) *started {
	key := output
	if len(others) == 0 {
		key = -1 - output
	}
	if s := b.started[key]; s != nil {
		return s
	}
	s := &started{driver: newDriver(b.logic, b.model.Config, output), record: newRecorder(b.model)}
	for _, target := range append(others, output) {
		s.driver.target = target
		for limit := patienceOf(b.model.Config); limit > 0 && !s.driver.enabled(); limit-- {
			s.driver.healthy()
			s.record.turn(s.driver)
		}
	}
	for limit := patienceOf(b.model.Config); limit > 0 && s.driver.enabled() && !s.driver.settled(); limit-- {
		s.driver.healthy()
		s.record.turn(s.driver)
	}
	s.runs = s.driver.enabled()
	b.started[key] = s
	return s
}

// detectAll bounds how long any channel takes to leave fit-to-keep.
func (b *Bench) detectAll() model.Scans {
	most := model.Scans(1)
	for i := range b.model.Config.Channels {
		if f, err := b.factsOf(i); err == nil && f.Detect != model.Endless {
			most = max(most, f.Detect)
		}
	}
	return most
}

func outputKey(o *interlock.Output) string {
	return fmt.Sprintf("%d %v %v %+v %v %v %v %v %d", o.OnDelay, o.Automatic, o.Reset != 0, o.Press, o.Start != 0, o.Stop != 0, o.Closed != 0, o.Opened != 0, o.Travel)
}

// started is an output brought to run by a healthy plant, and the run to there.
type started struct {
	driver *driver
	record *recorder
	runs   bool
}

// from is a copy of a started output to do something with.
func (s *started) from() (*driver, *recorder) { return s.driver.copyOf(), s.record.copyOf() }
