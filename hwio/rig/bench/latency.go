package bench

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/verdict"
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
	// Spread is the scatter of the middles that the intervals themselves do not explain: an edge whose interval is wider than
	// usual, because the program or the bus was held up, has that much less to explain. Every interval measured afterwards is
	// widened by it at both ends: a wire cannot be late, so whatever scatter a wire shows is the rig's own.
	Spread time.Duration `json:"spread_ns"`
}

// spreadOf adds the largest unexplained deviations from the median, up and down.
func spreadOf(edges []interval.Span) time.Duration {
	middles, halves := make([]time.Duration, len(edges)), make([]time.Duration, len(edges))
	for index, edge := range edges {
		middles[index], halves[index] = edge.Middle(), (edge.Most-edge.Least)/2
	}
	middle, half := median(middles), median(halves)
	var above, below time.Duration
	for _, edge := range edges {
		explained := max((edge.Most-edge.Least)/2-half, 0)
		above = max(above, edge.Middle()-middle-explained)
		below = max(below, middle-edge.Middle()-explained)
	}
	return above + below
}

func median(list []time.Duration) time.Duration {
	sorted := slices.Sorted(slices.Values(list))
	return sorted[len(sorted)/2]
}

// MeasureLatency moves one relay to and fro at random moments and looks how long its own contact takes to be seen. It is the
// time of relay, bus, adapter and program; the unit has no part in it.
func (b *Bench) MeasureLatency(ctx context.Context, edges int, seed uint64) (Latency, sheet.Inspection, error) {
	made := sheet.Inspection{Name: "loop-back latency", Verdict: verdict.NotShown, Details: []string{}}
	loop := b.bestLoop()
	if loop == nil {
		return Latency{}, made, &Refused{"loop-back latency", "no relay has a loop-back input: wire one (use: loopback), or no time can be believed"}
	}
	dice := rand.New(rand.NewPCG(seed, 1))
	cycle := max(b.Map.Load().Cycle, time.Millisecond)
	var spans []interval.Span
	for edge := range edges {
		if !Pause(ctx, time.Duration(dice.Int64N(int64(cycle)))) {
			return Latency{}, made, ctx.Err()
		}
		span, err := b.oneEdge(loop, edge%2 == 0)
		if errors.Is(err, ErrInDoubt) {
			continue
		}
		if err != nil {
			return Latency{}, made, err
		}
		spans = append(spans, span)
	}
	if len(spans) < edges*9/10 || len(spans) == 0 {
		return Latency{}, made, &Refused{"loop-back latency", fmt.Sprintf("only %d of %d edges were seen clearly: the bus loses too much to measure on", len(spans), edges)}
	}
	l := latencyOf(loop.Name, spans)
	made.Text = fmt.Sprintf("%d edges of %s at random phase: %.1f..%.1f ms, median %.1f ms; every interval is widened at both ends by the %.1f ms of scatter that the intervals do not explain",
		l.Edges, l.Loop, interval.InMillis(l.Least), interval.InMillis(l.Most), interval.InMillis(l.Median), interval.InMillis(l.Spread))
	if edges >= LeastEdges {
		made.Verdict = verdict.Shown
	} else {
		made.Text += fmt.Sprintf("; %d edges are asked for", LeastEdges)
	}
	return l, made, nil
}

func latencyOf(loop string, spans []interval.Span) Latency {
	middles := make([]time.Duration, len(spans))
	for index, span := range spans {
		middles[index] = span.Middle()
	}
	return Latency{Loop: loop, Edges: len(spans), Least: slices.Min(middles), Median: median(middles), Most: slices.Max(middles), Spread: spreadOf(spans)}
}

func (b *Bench) bestLoop() (best *wiring.Loop) {
	for index := range b.Map.Loops {
		if l := &b.Map.Loops[index]; best == nil || l.Harmless && !best.Harmless {
			best = l
		}
	}
	return best
}

// edgeLimit is how long an edge may take to be seen.
const edgeLimit = time.Second

// oneEdge moves the relay and polls until its input follows; the answer is the time in between.
func (b *Bench) oneEdge(loop *wiring.Loop, on bool) (interval.Span, error) {
	wanted := make([]bool, b.sizes[loop.Relay.Module])
	wanted[loop.Relay.Point] = on
	unclear := b.Unclear
	when, err := b.WriteRelays(loop.Relay.Module, wanted)
	if err != nil {
		return interval.Span{}, err
	}
	// The relay's own time is part of what is measured here.
	order := interval.Moment{From: when.From, To: when.To.Add(-b.Map.OperateMax(loop.Relay.Module))}
	before := order.From
	for limit := port.Now().Add(edgeLimit); port.Now() < limit; {
		bits, times, err := b.ReadInputs(loop.Input.Module)
		if Fatal(err) {
			return interval.Span{}, Lost(err)
		}
		if err != nil {
			b.Unclear++
			continue
		}
		if bits[loop.Input.Point] == on {
			if b.Unclear != unclear {
				return interval.Span{}, ErrInDoubt
			}
			least, most := before.Sub(order.To), times.ReplyStart.Sub(order.From)
			if least > b.Map.OperateMax(loop.Relay.Module)+settleContact {
				return interval.Span{}, &Refused{"loop-back latency", fmt.Sprintf("%s took more than %.1f ms, operate_max is %v: correct it, or replace the relay", loop.Name, interval.InMillis(least), b.Map.OperateMax(loop.Relay.Module))}
			}
			return interval.Span{Least: max(least, 0), Most: most}, nil
		}
		before = times.RequestEnd
	}
	return interval.Span{}, &Refused{"loop-back latency", fmt.Sprintf("the input of %s did not follow its relay within %v", loop.Name, edgeLimit)}
}
