package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"sync/atomic"
	"time"

	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/sim/trace"
)

// inMemory in a context asks for a twin whose lines are in memory: a test stands on a fake clock, and a pseudo-terminal knows
// the real one only.
type inMemory struct{}

// openTwin puts a twin in the place of the hardware, if asked to.
func (o *rigOptions) openTwin(ctx context.Context, f *rigFiles, order *rig.Order) (func(), error) {
	if !o.twin {
		return func() {}, nil
	}
	options := twinbench.Options{Wrong: o.wrong, InMemory: !twinbench.Terminals() || ctx.Value(inMemory{}) != nil}
	if order.Mode != wiring.Stimulate {
		o.gate = &gatedPlant{fresh: func() loop.Source { p, _ := f.plant(); return p }}
		options.Plant = o.gate
	}
	twin, err := twinbench.Open(f.wires, options)
	if err != nil {
		return nil, failed(exitInput, "%w", err)
	}
	order.Settings.Devices, order.Settings.Lines = twin.Devices, twin.Lines
	return func() { _ = twin.Close() }, nil
}

// gatedPlant is a plant behind the twin's terminals that stands still until a run begins: checks come before.
type gatedPlant struct {
	fresh func() loop.Source
	next  atomic.Pointer[loop.Source] // of the run that has just begun
	now   loop.Source
	scan  uint64
}

// begin starts a fresh plant with the next scan.
func (g *gatedPlant) begin() {
	plant := g.fresh()
	g.next.Store(&plant)
}

// Next brings nothing until the first run has begun, and after the end of each what there was last.
func (g *gatedPlant) Next(_ uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if next := g.next.Swap(nil); next != nil {
		g.now, g.scan = *next, 0
	}
	if g.now == nil {
		return true, nil
	}
	more, err := g.now.Next(g.scan, coils, in)
	if err != nil {
		return false, err
	}
	if more {
		g.scan++
	}
	return true, nil
}

// offerTwin keeps a twin until it is interrupted, for another program at its terminals.
func offerTwin(ctx context.Context, out io.Writer, siteFile string, o *rigOptions) error {
	f, err := readRig(siteFile, "")
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "ohmgate-twin-")
	if err != nil {
		return failed(exitLost, "%w", err)
	}
	defer os.RemoveAll(folder)
	twin, err := twinbench.Open(f.wires, twinbench.Options{Wrong: o.wrong, Directory: folder})
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	defer twin.Close()
	fmt.Fprintf(out, "twin of %s; interrupt to end. In another window:\n\n  ohmgate rig %s SCENARIO \\\n    --record FILE --confirm %q", f.site.Name, siteFile, confirmation)
	for i := range f.site.Rig.Ports {
		if path, ok := twin.Devices[f.site.Rig.Ports[i].Name]; ok {
			fmt.Fprintf(out, " \\\n    --port %s=%s", f.site.Rig.Ports[i].Name, path)
		}
	}
	fmt.Fprintln(out)
	ctx, stop := watchSignals(ctx)
	<-ctx.Done()
	stop()
	return nil
}

func listWrong(out io.Writer) error {
	for _, one := range twinbench.Wrong() {
		fmt.Fprintf(out, "%-10s %s\n", one[0], one[1])
	}
	return nil
}

// watch records what the logic saw and decided, scan by scan, if asked to: of the logic beside the unit, or of the one that
// stands in for it.
func (o *rigOptions) watch(f *rigFiles) func() ([]loop.Watcher, func() error, error) {
	run := 0
	return func() ([]loop.Watcher, func() error, error) {
		if run++; o.gate != nil {
			o.gate.begin()
		}
		name := ""
		if o.runs > 1 {
			name = fmt.Sprintf("run%d", run)
		}
		group, err := o.recording.writers(f.logic, name)
		if err != nil || len(group) == 0 {
			return nil, func() error { return nil }, err
		}
		header := headerOf(f.site)
		header.Scenario, header.ScenarioHash = f.scenario.Name, f.scenario.Hash
		if err := group.Begin(header); err != nil {
			return nil, nil, err
		}
		return []loop.Watcher{&scanWriter{group, f.site}}, group.Close, nil
	}
}

// scanWriter is a watcher that records.
type scanWriter struct {
	to   trace.Writer
	site *site.Site
}

// Watch writes one scan.
func (w *scanWriter) Watch(t *loop.Turn) error {
	return w.to.Write(&trace.Row{
		Scan: t.Scan, Time: time.Duration(t.Scan) * w.site.Period.Max, PowerUp: t.Scan == 0, In: t.In, State: t.State, Decision: t.Decision,
	})
}
