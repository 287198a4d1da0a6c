package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/sim"
)

// listening is a rig that serve only listens to: no relay moves, and nothing
// that the page could ask for reaches it. What the logic would decide on what
// the rig reads is shown.
type listening struct {
	order  *rig.Order
	twin   *twinbench.Twin
	feed   *live.Feed
	cancel context.CancelFunc
	ended  sync.WaitGroup
}

// endless is as many scans as a rig is listened to.
const endless = 1 << 62

// openRig prepares to listen; nothing is opened yet but a twin.
func openRig(s *site.Site, logic *interlock.Config, o *serveOptions, sc *sim.Scenario) (*listening, error) {
	wires, problems := wiring.Read(s)
	if problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	if problems := wires.CheckLoad(wiring.Listen); problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	l := &listening{feed: live.NewFeed()}
	l.order = &rig.Order{
		Map: wires, Logic: logic, Mode: wiring.Listen, Runs: 1, Scans: endless, Settings: bench.Settings{Devices: map[string]string{}},
		Head: sheet.Head{Site: s.Name, SiteHash: s.Hash, Tool: toolVersion(), Remark: "listened to live", Notes: []string{}},
		Watch: func() ([]loop.Watcher, func() error, error) {
			return []loop.Watcher{l.feed}, func() error { return nil }, nil
		},
	}
	if o.twin {
		twin, err := twinbench.Open(wires, twinbench.Options{InMemory: !twinbench.Terminals(), Plant: sim.NewStage(s, logic, sc, o.seed)})
		if err != nil {
			return nil, failed(exitInput, "%w", err)
		}
		l.twin, l.order.Settings.Devices, l.order.Settings.Lines = twin, twin.Devices, twin.Lines
	}
	for _, text := range o.ports {
		name, device, ok := strings.Cut(text, "=")
		if !ok || !hasPort(s, name) {
			_ = l.Close()
			return nil, failed(exitInput, "--port %q names no port of the site; write %s", text, portExample(s))
		}
		l.order.Settings.Devices[name] = device
	}
	return l, nil
}

// start listens until it is closed or the line is lost.
func (l *listening) start() {
	ctx, cancel := context.WithCancel(context.Background())
	l.cancel = cancel
	l.ended.Go(func() {
		report := rig.Perform(ctx, *l.order, sheet.NewBook(nowhere{io.Discard}))
		switch {
		case ctx.Err() != nil:
			l.feed.End(nil)
		case report.Trouble != "":
			l.feed.End(errors.New(report.Trouble))
		default:
			l.feed.End(fmt.Errorf("the rig ended: %s", report.RigState))
		}
	})
}

// Close lets the rig go.
func (l *listening) Close() error {
	if l.cancel != nil {
		l.cancel()
		l.ended.Wait()
	}
	if l.twin != nil {
		return l.twin.Close()
	}
	return nil
}
