package live

import (
	"context"
	"fmt"

	"github.com/looplab/fsm"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// OutputEdge is one line of the chart of an output.
type OutputEdge struct {
	Trigger  string
	From, To interlock.Mode
}

// outputChart declares every way in which an output changes its mode.
var outputChart = []OutputEdge{
	{"permissive met and restart rule met", interlock.KeptOut, interlock.Enabled},
	{"withheld while running", interlock.Enabled, interlock.Tripped},
	{"stopped, or released after the end of flow", interlock.Enabled, interlock.KeptOut},
	{interlock.ResetGiven.String(), interlock.Tripped, interlock.KeptOut},
	{interlock.ResetGiven.String() + ", or restarts by itself", interlock.Tripped, interlock.Enabled},
}

// newOutputMirror is the chart of one output as a state machine.
func newOutputMirror() *fsm.FSM {
	events := make(fsm.Events, 0, len(outputChart))
	for _, e := range outputChart {
		events = append(events, fsm.EventDesc{Name: e.Trigger, Src: []string{e.From.String()}, Dst: e.To.String()})
	}
	return fsm.NewFSM(interlock.KeptOut.String(), events, fsm.Callbacks{})
}

// UnknownTransition is a change that a chart does not know. It means that this
// program is not what it was when it was checked; everything is withheld.
type UnknownTransition struct {
	What, From, To string
	Scan           uint64
}

func (e UnknownTransition) Error() string {
	return fmt.Sprintf("scan %d: %s went from %q to %q, which its chart does not know; every output is withheld", e.Scan, e.What, e.From, e.To)
}

// mirrors run beside the logic and never decide anything but "stop".
type mirrors struct {
	channels []*fsm.FSM
	outputs  []*fsm.FSM
	phase    map[[2]string]string // trigger by from and to
	mode     map[[2]string]string
	names    *Names
}

func newMirrors(names *Names, channels, outputs int) *mirrors {
	m := &mirrors{phase: map[[2]string]string{}, mode: map[[2]string]string{}, names: names}
	for _, e := range monitor.Chart() {
		m.phase[[2]string{e.From.String(), e.To.String()}] = e.Trigger
	}
	for _, e := range outputChart {
		m.mode[[2]string{e.From.String(), e.To.String()}] = e.Trigger
	}
	for range channels {
		m.channels = append(m.channels, monitor.NewMirror())
	}
	for range outputs {
		m.outputs = append(m.outputs, newOutputMirror())
	}
	return m
}

// powerUp puts every mirror where a loss of supply puts the logic.
func (m *mirrors) powerUp() {
	for _, machine := range m.channels {
		machine.SetState(monitor.Unconnected.String())
	}
	for _, machine := range m.outputs {
		machine.SetState(interlock.KeptOut.String())
	}
}

// follow lets the mirrors make the changes that the logic made in one scan.
func (m *mirrors) follow(scan uint64, s *interlock.State) error {
	for i, machine := range m.channels {
		if err := follow(machine, m.phase, s.Channels[i].Phase.String()); err != nil {
			return UnknownTransition{"channel " + m.names.Channel(i), machine.Current(), s.Channels[i].Phase.String(), scan}
		}
	}
	for i, machine := range m.outputs {
		if err := follow(machine, m.mode, s.Outputs[i].Mode.String()); err != nil {
			return UnknownTransition{"output " + m.names.Output(i), machine.Current(), s.Outputs[i].Mode.String(), scan}
		}
	}
	return nil
}

// follow moves one machine. The context is never one that can be cancelled:
// the library would refuse every later event.
func follow(machine *fsm.FSM, triggers map[[2]string]string, to string) error {
	from := machine.Current()
	if from == to {
		return nil
	}
	trigger, known := triggers[[2]string{from, to}]
	if !known {
		return fmt.Errorf("no trigger leads from %q to %q", from, to)
	}
	if err := machine.Event(context.Background(), trigger); err != nil {
		return err
	}
	if machine.Current() != to {
		return fmt.Errorf("%q led to %q", trigger, machine.Current())
	}
	return nil
}
