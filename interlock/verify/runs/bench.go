package runs

import (
	"fmt"
	"sync"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Bench is the real logic of a site with everything that was worked out about its
// parts: tables and worst cases of channels and outputs, found once each, and the
// whole site brought to where an output runs, from where every later question about
// the real logic begins.
type Bench struct {
	Model   *model.Model
	Options model.Options
	Logic   *model.Logic

	Tables    sync.Mutex
	ByChannel map[monitor.Config]*table.ChannelTable
	ByOutput  map[string]*table.OutputTable
	Facts     map[monitor.Config]table.ChannelFacts
	started   map[int]*Started
}

// NewBench has worked out nothing yet.
func NewBench(m *model.Model, o model.Options) *Bench {
	return &Bench{Model: m, Options: o, Logic: o.LogicInUse(),
		ByChannel: map[monitor.Config]*table.ChannelTable{}, ByOutput: map[string]*table.OutputTable{}, Facts: map[monitor.Config]table.ChannelFacts{}, started: map[int]*Started{}}
}

// ChannelTable tabulates each different setting of a channel once.
func (b *Bench) ChannelTable(c *monitor.Config) (*table.ChannelTable, error) {
	b.Tables.Lock()
	defer b.Tables.Unlock()
	if t := b.ByChannel[*c]; t != nil {
		return t, nil
	}
	t, err := table.Tabulate(b.Logic, c, b.Options.MemoryLimit())
	if err == nil {
		b.ByChannel[*c] = t
	}
	return t, err
}

func (b *Bench) OutputTable(o *interlock.Output, brief bool) (*table.OutputTable, error) {
	key := fmt.Sprint(brief) + OutputKey(o)
	b.Tables.Lock()
	defer b.Tables.Unlock()
	if t := b.ByOutput[key]; t != nil {
		return t, nil
	}
	t, err := table.TabulateOutput(b.Logic, table.ShapeOf(o, brief), b.Options.MemoryLimit())
	if err == nil {
		b.ByOutput[key] = t
	}
	return t, err
}

// FactsOf are the worst cases of a channel, found once for each setting.
func (b *Bench) FactsOf(channel int) (table.ChannelFacts, error) {
	c := b.Model.Config.Channels[channel].Config
	if f, ok := b.Facts[c]; ok {
		return f, nil
	}
	t, err := b.ChannelTable(&c)
	if err != nil {
		return table.ChannelFacts{}, err
	}
	f := t.Facts(b.Options.MemoryLimit(), b.Model.Held())
	b.Facts[c] = f
	return f, nil
}

// Start drives the whole site until an output runs, and with it what stands in
// series with it, so that product flows; every later question about the real
// logic begins from there.
func (b *Bench) Start(output int) *Started {
	return b.StartWith(output, b.Model.InSeries(output))
}

// StartWith brings some outputs to run, one after the other, and then the one.
func (b *Bench) StartWith(output int, others []int) *Started {
	key := output
	if len(others) == 0 {
		key = -1 - output
	}
	if s := b.started[key]; s != nil {
		return s
	}
	s := &Started{Driver: NewDriver(b.Logic, b.Model.Config, output), Record: NewRecorder(b.Model)}
	for _, target := range append(others, output) {
		s.Driver.Target = target
		for limit := PatienceOf(b.Model.Config); limit > 0 && !s.Driver.Enabled(); limit-- {
			s.Driver.Healthy()
			s.Record.Turn(s.Driver)
		}
	}
	for limit := PatienceOf(b.Model.Config); limit > 0 && s.Driver.Enabled() && !s.Driver.settled(); limit-- {
		s.Driver.Healthy()
		s.Record.Turn(s.Driver)
	}
	s.Runs = s.Driver.Enabled()
	b.started[key] = s
	return s
}

// DetectAll bounds how long any channel takes to leave fit-to-keep.
func (b *Bench) DetectAll() model.Scans {
	most := model.Scans(1)
	for i := range b.Model.Config.Channels {
		if f, err := b.FactsOf(i); err == nil && f.Detect != model.Endless {
			most = max(most, f.Detect)
		}
	}
	return most
}

func OutputKey(o *interlock.Output) string {
	return fmt.Sprintf("%d %v %v %+v %v %v %v %v %d", o.OnDelay, o.Automatic, o.Reset != 0, o.Press, o.Start != 0, o.Stop != 0, o.Closed != 0, o.Opened != 0, o.Travel)
}

// Started is an output brought to run by a healthy plant, and the run to there.
type Started struct {
	Driver *Driver
	Record *Recorder
	Runs   bool
}

// From is a copy of a started output to do something with.
func (s *Started) From() (*Driver, *Recorder) { return s.Driver.CopyOf(), s.Record.CopyOf() }

// Focus is a channel and how an output hangs on it, and how a vessel of it does; -1
// is no vessel.
func (b *Bench) Focus(output, channel, vessel int) *table.Focus {
	c := b.Model.Config
	f := &table.Focus{Channel: &c.Channels[channel], Perm: model.Residues(b.Logic, c.Outputs[output].Permissive, channel), Cut: model.IsCut(c.Outputs[output].Permissive, channel)}
	for i := range c.Bypasses {
		if c.Bypasses[i].Channel == channel {
			f.Bypassed, f.LostToo = true, c.Bypasses[i].CoversLost
		}
	}
	if vessel >= 0 {
		bond := c.Vessels[vessel].BondedBy
		f.Bond = model.Residues(b.Logic, bond, channel)
		causes := bond.Causes()
		f.InVessel = causes.Has(channel)
		f.OthersBond = causes.Len() > model.Int(f.InVessel)
	}
	return f
}
