package metrics

import (
	"math"
	"sync"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Metrics follows a run. It is a trace.Writer, and live it is read by
// Registry's collector.
type Metrics struct {
	config *interlock.Config
	header *trace.Header
	mutex  sync.Mutex
	board  board

	scans, overruns, powerUps *metric
	channels                  []channelMetrics
	outputs                   []outputMetrics
	vessels                   []vesselMetrics
	bypasses                  []bypassMetrics
}

type channelMetrics struct {
	resistance, age, phase *metric
	transitions            map[[2]monitor.Phase]*metric
	lastFresh              time.Duration
	heard                  bool
	quality                monitor.Quality // of the last fresh reading
	ohms                   float64
}

type outputMetrics struct {
	mode, trips, enabled, unconfirmed, unconfirmedNow *metric
	resets, resetsIgnored                             *metric
	reasons                                           map[interlock.Reason]*metric
	causes                                            []causeMetrics
}

// causeMetrics is what one cause does to one output.
type causeMetrics struct {
	cause          int
	trips, now     *metric
	latency, worst *metric // channels of a simulated run only
	lost           uint64  // scan + 1 of the last scan with its earth, 0 if none is lost
}

type vesselMetrics struct {
	charged, wait, waits, early, earlyNow, released, tooSoon *metric
}

type bypassMetrics struct{ active, began *metric }

// New prepares the metrics of one site; c must come from Compile.
func New(c *interlock.Config) *Metrics { return &Metrics{config: c} }

// Begin makes every family, all at zero, so that a first event is an increase.
func (m *Metrics) Begin(h *trace.Header) error {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	m.header = h
	b := &m.board
	run := b.add(family{name: "ohmgate_run", typ: info, help: "What ran: site, scenario and program, each with the hash of its sources.", labels: []string{"site", "site_hash", "scenario", "scenario_hash", "tool"}})
	b.with(run, h.Site, h.SiteHash, h.Scenario, h.ScenarioHash, h.Tool).value = 1
	one := func(name, help string) *metric { return b.with(b.add(family{name: name, typ: counter, help: help})) }
	m.scans = one("ohmgate_scans", "Turns of the logic.")
	m.scans.quiet = true
	m.overruns = one("ohmgate_scan_overruns", "Scans that came too late; each withholds every output.")
	m.powerUps = one("ohmgate_power_ups", "Times that the logic began without memory.")
	b.with(b.add(family{name: "ohmgate_scan_period_seconds", unit: "seconds", typ: gauge, help: "Scan period."})).value = h.Period.Seconds()
	m.beginChannels()
	m.beginOutputs()
	m.beginVessels()
	m.beginBypasses()
	return nil
}

func (m *Metrics) beginChannels() {
	b, labels := &m.board, []string{"channel"}
	resistance := b.add(family{name: "ohmgate_channel_resistance_ohms", unit: "ohms", typ: gauge, labels: labels, help: "Last fresh reading; NaN when stale or unusable, +Inf when over-range."})
	age := b.add(family{name: "ohmgate_channel_reading_age_seconds", unit: "seconds", typ: gauge, labels: labels, help: "Time since the last fresh reading; NaN before the first."})
	accept := b.add(family{name: "ohmgate_channel_accept_ohms", unit: "ohms", typ: gauge, labels: labels, help: "At or below: good."})
	reject := b.add(family{name: "ohmgate_channel_reject_ohms", unit: "ohms", typ: gauge, labels: labels, help: "Above: bad."})
	var names []string
	for p := monitor.Phase(0); p < monitor.Phases; p++ {
		names = append(names, p.String())
	}
	phase := b.add(family{name: "ohmgate_channel_phase", typ: stateSet, labels: labels, states: names, help: "Phase of the channel."})
	moves := b.add(family{name: "ohmgate_channel_transitions", typ: counter, labels: []string{"channel", "from", "to"}, help: "Changes of phase."})
	for i, name := range m.header.Channels {
		c := channelMetrics{resistance: b.with(resistance, name), age: b.with(age, name), phase: b.with(phase, name), transitions: map[[2]monitor.Phase]*metric{}}
		c.resistance.value, c.age.value = math.NaN(), math.NaN()
		c.resistance.quiet, c.age.quiet = true, true
		b.with(accept, name).value = float64(m.config.Channels[i].Accept) / 1e6
		b.with(reject, name).value = float64(m.config.Channels[i].Reject) / 1e6
		for _, edge := range monitor.Chart() {
			key := [2]monitor.Phase{edge.From, edge.To}
			if c.transitions[key] == nil {
				c.transitions[key] = b.with(moves, name, edge.From.String(), edge.To.String())
			}
		}
		m.channels = append(m.channels, c)
	}
}

// tripReasons are what can stand beside a trip.
const tripReasons = interlock.ReasonPowerUp | interlock.ReasonOverrun | interlock.ReasonNotMet | interlock.ReasonUnknown |
	interlock.ReasonUnconfirmed | interlock.ReasonBackup | interlock.ReasonStop

func (m *Metrics) beginOutputs() {
	b, labels := &m.board, []string{"output"}
	count := func(name, help string, labels ...string) *family {
		return b.add(family{name: name, typ: counter, help: help, labels: labels})
	}
	var names []string
	for mode := interlock.Mode(0); mode < interlock.Modes; mode++ {
		names = append(names, mode.String())
	}
	mode := b.add(family{name: "ohmgate_output_mode", typ: stateSet, labels: labels, states: names, help: "What the output does."})
	trips := count("ohmgate_output_trips", "Times that the output was withheld while it ran.", labels...)
	reasons := count("ohmgate_output_trip_reasons", "What withheld the output in a trip scan; one trip may count under several.", "output", "reason")
	causes := count("ohmgate_output_trip_causes", "Causes that were first out in a trip; one trip may count under several.", "output", "cause")
	now := b.add(family{name: "ohmgate_output_first_out", typ: gauge, labels: []string{"output", "cause"}, help: "1 while this cause stands as first-out of the last trip."})
	enabled := count("ohmgate_output_enabled", "Times that the output was enabled.", labels...)
	unconfirmed := count("ohmgate_output_unconfirmed_actuators", "Times that the actuator did not report in time.", labels...)
	unconfirmedNow := b.add(family{name: "ohmgate_output_unconfirmed", typ: gauge, labels: labels, help: "1 while the actuator is unconfirmed."})
	resets := count("ohmgate_output_resets", "Resets that counted.", labels...)
	ignored := count("ohmgate_output_resets_ignored", "Presses of reset that did not count.", labels...)
	called := m.header.Names()
	for i, name := range m.header.Outputs {
		o := outputMetrics{
			mode: b.with(mode, name), trips: b.with(trips, name), enabled: b.with(enabled, name),
			unconfirmed: b.with(unconfirmed, name), unconfirmedNow: b.with(unconfirmedNow, name),
			resets: b.with(resets, name), resetsIgnored: b.with(ignored, name),
			reasons: map[interlock.Reason]*metric{},
		}
		tripReasons.Each(func(one interlock.Reason) { o.reasons[one] = b.with(reasons, name, one.String()) })
		set := m.config.Outputs[i].Permissive.Causes()
		set.Each(func(cause int) {
			text := called.Cause(cause)
			o.causes = append(o.causes, causeMetrics{cause: cause, trips: b.with(causes, name, text), now: b.with(now, name, text)})
		})
		m.outputs = append(m.outputs, o)
	}
	if m.header.Simulated {
		m.beginLatencies()
	}
}

// beginLatencies makes the histograms of what a simulated plant alone can know:
// how long after the connection was physically lost the output was withheld.
func (m *Metrics) beginLatencies() {
	b, labels := &m.board, []string{"output", "channel"}
	latency := b.add(family{name: "ohmgate_withholding_latency_scans", unit: "scans", typ: histogram, labels: labels, help: "Scans from the last one whose true resistance was at or below reject to the one that withheld; one edge is the configured bound."})
	bound := b.add(family{name: "ohmgate_withholding_bound_scans", unit: "scans", typ: gauge, labels: labels, help: "Configured bound of the latency: patience and stale-after of the channel, at worst."})
	worst := b.add(family{name: "ohmgate_withholding_worst_scans", unit: "scans", typ: gauge, labels: labels, help: "Largest latency since the start; 0 before the first."})
	for i := range m.outputs {
		for at := range m.outputs[i].causes {
			cause := &m.outputs[i].causes[at]
			channel := cause.cause
			if channel >= len(m.header.Channels) {
				continue // an input
			}
			limit := Bound(&m.config.Channels[channel].Config)
			names := []string{m.header.Outputs[i], m.header.Channels[channel]}
			cause.latency, cause.worst = b.with(latency, names...), b.with(worst, names...)
			cause.latency.edges = edgesFor(uint32(limit))
			cause.latency.counts = make([]uint64, len(cause.latency.edges)+1)
			b.with(bound, names...).value = float64(limit)
		}
	}
}

// Bound is how many scans after the last one with a connection an output that
// needs the channel is withheld at the latest, if the readings tell the truth.
func Bound(c *monitor.Config) monitor.Scans {
	bound := monitor.Scans(0)
	for _, class := range [...]monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High} {
		bound = max(bound, c.DetectionScans(class))
	}
	return bound
}

func (m *Metrics) beginVessels() {
	b, labels := &m.board, []string{"vessel"}
	add := func(name string, t typ, unit, help string) *family {
		return b.add(family{name: name, typ: t, unit: unit, labels: labels, help: help})
	}
	charged := add("ohmgate_vessel_may_be_charged", gauge, "", "1 until the vessel is shown not to be charged.")
	wait := add("ohmgate_vessel_wait_remaining_seconds", gauge, "seconds", "What is left of the wait, if flow stays ended; 0 when clear.")
	waits := add("ohmgate_vessel_waits", counter, "", "Waits that began.")
	early := add("ohmgate_vessel_early_reconnections", counter, "", "Connections made again during the wait: the dangerous act itself.")
	earlyNow := add("ohmgate_vessel_reconnected_early", gauge, "", "1 until an early reconnection is acknowledged.")
	released := add("ohmgate_vessel_releases", counter, "", "Connections taken off after flow had ended.")
	tooSoon := add("ohmgate_vessel_early_releases", counter, "", "Connections taken off after flow had ended, but before the rest was over.")
	for _, name := range m.header.Vessels {
		v := vesselMetrics{
			charged: b.with(charged, name), wait: b.with(wait, name), waits: b.with(waits, name), early: b.with(early, name),
			earlyNow: b.with(earlyNow, name), released: b.with(released, name), tooSoon: b.with(tooSoon, name),
		}
		v.wait.quiet = true
		m.vessels = append(m.vessels, v)
	}
}

func (m *Metrics) beginBypasses() {
	if len(m.header.Bypasses) == 0 {
		return
	}
	b, labels := &m.board, []string{"bypass"}
	active := b.add(family{name: "ohmgate_bypass_active", typ: gauge, labels: labels, help: "1 while the bypass lasts."})
	began := b.add(family{name: "ohmgate_bypasses", typ: counter, labels: labels, help: "Times that the bypass began."})
	for _, name := range m.header.Bypasses {
		m.bypasses = append(m.bypasses, bypassMetrics{b.with(active, name), b.with(began, name)})
	}
}
