package rig

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/sheet"
)

// LeastEdges is how many edges a loop-back run must have before a time is believed.
const LeastEdges = 200

// Latency is what a loop-back run measured.
type Latency struct {
	Loop   string        `json:"loop"`
	Edges  int           `json:"edges"`
	Least  time.Duration `json:"least_ns"`  // of the middles of the intervals
	Median time.Duration `json:"median_ns"` // …
	Most   time.Duration `json:"most_ns"`   // …
	// Spread is the scatter of the middles. Every interval measured afterwards is widened by it at both ends: a wire cannot
	// be late, so whatever scatter a wire shows is the rig's own.
	Spread time.Duration `json:"spread_ns"`
}

// MeasureLatency moves one relay to and fro at random moments and looks how long its own contact takes to be seen. It is the
// time of relay, bus, adapter and program; the unit has no part in it.
func (b *Bench) MeasureLatency(ctx context.Context, edges int, seed uint64) (Latency, sheet.Inspection, error) {
	made := sheet.Inspection{Name: "loop-back latency", Verdict: sheet.NotShown, Details: []string{}}
	loop := b.bestLoop()
	if loop == nil {
		return Latency{}, made, &Refused{"loop-back latency", "no relay has a loop-back input: wire one (use: loopback), or no time can be believed"}
	}
	dice := rand.New(rand.NewPCG(seed, 1))
	cycle := max(b.Map.Load().Cycle, time.Millisecond)
	var middles []time.Duration
	for edge := range edges {
		if !pause(ctx, time.Duration(dice.Int64N(int64(cycle)))) {
			return Latency{}, made, ctx.Err()
		}
		middle, err := b.oneEdge(loop, edge%2 == 0)
		if errors.Is(err, ErrInDoubt) {
			continue
		}
		if err != nil {
			return Latency{}, made, err
		}
		middles = append(middles, middle)
	}
	if len(middles) < edges*9/10 || len(middles) == 0 {
		return Latency{}, made, &Refused{"loop-back latency", fmt.Sprintf("only %d of %d edges were seen clearly: the bus loses too much to measure on", len(middles), edges)}
	}
	slices.Sort(middles)
	l := Latency{Loop: loop.Name, Edges: len(middles), Least: middles[0], Median: middles[len(middles)/2], Most: middles[len(middles)-1]}
	l.Spread = l.Most - l.Least
	made.Text = fmt.Sprintf("%d edges of %s at random phase: %.1f..%.1f ms, median %.1f ms; every interval is widened by the spread of %.1f ms at both ends",
		l.Edges, l.Loop, ms(l.Least), ms(l.Most), ms(l.Median), ms(l.Spread))
	if edges >= LeastEdges {
		made.Verdict = sheet.Shown
	} else {
		made.Text += fmt.Sprintf("; %d edges are asked for", LeastEdges)
	}
	return l, made, nil
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

func (b *Bench) bestLoop() (best *Loop) {
	for index := range b.Map.Loops {
		if l := &b.Map.Loops[index]; best == nil || l.Harmless && !best.Harmless {
			best = l
		}
	}
	return best
}

// edgeLimit is how long an edge may take to be seen.
const edgeLimit = time.Second

// oneEdge moves the relay and polls until its input follows; the answer is the middle of the time in between.
func (b *Bench) oneEdge(loop *Loop, on bool) (time.Duration, error) {
	wanted := make([]bool, b.sizes[loop.Relay.Module])
	wanted[loop.Relay.Point] = on
	unclear := b.Unclear
	when, err := b.WriteRelays(loop.Relay.Module, wanted)
	if err != nil {
		return 0, err
	}
	// The relay's own time is part of what is measured here.
	order := Interval{when.From, when.To.Add(-b.Map.operateMax(loop.Relay.Module))}
	before := order.From
	for limit := port.Now().Add(edgeLimit); port.Now() < limit; {
		bits, times, err := b.ReadInputs(loop.Input.Module)
		if fatal(err) {
			return 0, lost(err)
		}
		if err != nil {
			b.Unclear++
			continue
		}
		if bits[loop.Input.Point] == on {
			if b.Unclear != unclear {
				return 0, ErrInDoubt
			}
			least, most := before.Sub(order.To), times.ReplyStart.Sub(order.From)
			if least > b.Map.operateMax(loop.Relay.Module)+settleContact {
				return 0, &Refused{"loop-back latency", fmt.Sprintf("%s took more than %.1f ms, operate_max is %v: correct it, or replace the relay", loop.Name, ms(least), b.Map.operateMax(loop.Relay.Module))}
			}
			return (least + most) / 2, nil
		}
		before = times.RequestEnd
	}
	return 0, &Refused{"loop-back latency", fmt.Sprintf("the input of %s did not follow its relay within %v", loop.Name, edgeLimit)}
}
