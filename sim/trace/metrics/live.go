package metrics

import (
	"github.com/prometheus/client_golang/prometheus"
)

// Registry is a registry of its own that holds nothing but this run.
func (m *Metrics) Registry() (*prometheus.Registry, error) {
	registry := prometheus.NewRegistry()
	return registry, registry.Register(collector{m})
}

// collector reads the board when somebody asks. It is unchecked, because the
// names of the site are not known before Begin.
type collector struct{ m *Metrics }

// Describe tells nothing beforehand.
func (c collector) Describe(chan<- *prometheus.Desc) {}

// Collect reads every metric between two scans.
func (c collector) Collect(to chan<- prometheus.Metric) {
	c.m.mutex.Lock()
	defer c.m.mutex.Unlock()
	for _, f := range c.m.board.families {
		for _, m := range f.metrics {
			m.collect(to)
		}
	}
}

func (m *metric) collect(to chan<- prometheus.Metric) {
	f := m.family
	send := func(name string, labels []string, kind prometheus.ValueType, value float64, values ...string) {
		desc := prometheus.NewDesc(name, f.help, labels, nil)
		sent, err := prometheus.NewConstMetric(desc, kind, value, values...)
		if err != nil {
			sent = prometheus.NewInvalidMetric(desc, err)
		}
		to <- sent
	}
	switch f.typ {
	case counter:
		send(f.name+"_total", f.labels, prometheus.CounterValue, m.value, m.values...)
	case info:
		send(f.name+"_info", f.labels, prometheus.GaugeValue, m.value, m.values...)
	case gauge:
		send(f.name, f.labels, prometheus.GaugeValue, m.value, m.values...)
	case stateSet:
		labels := append(append([]string(nil), f.labels...), f.name)
		for i, state := range f.states {
			send(f.name, labels, prometheus.GaugeValue, flag(i == m.state), append(append([]string(nil), m.values...), state)...)
		}
	case histogram:
		m.collectHistogram(to)
	}
}

func (m *metric) collectHistogram(to chan<- prometheus.Metric) {
	buckets := make(map[float64]uint64, len(m.edges))
	sum := uint64(0)
	for i, edge := range m.edges {
		sum += m.counts[i]
		buckets[edge] = sum
	}
	desc := prometheus.NewDesc(m.family.name, m.family.help, m.family.labels, nil)
	sent, err := prometheus.NewConstHistogram(desc, m.total, m.sum, buckets, m.values...)
	if err != nil {
		sent = prometheus.NewInvalidMetric(desc, err)
	}
	to <- sent
}
