package verify

import "ohmgate/monitor"

// Pair is one product before it is searched: a channel's table and the stem that
// hangs on it. Emitters and other engines start here; what they find must agree
// with what Search finds: the verdict of every property and the number of states.
type Pair struct {
	Kind, Output, Channel, Vessel string
	Table                         *ChannelTable
	Stem                          *Stem
}

// Pairs builds every product of the wanted outputs that differs from those
// before it.
func Pairs(m *Model, o Options) ([]Pair, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	var list []Pair
	seen := map[string]bool{}
	for _, job := range v.plan() {
		if seen[job.key] {
			continue
		}
		seen[job.key] = true
		p, err := v.product(job, v.options.memory())
		if err != nil {
			return nil, err
		}
		list = append(list, Pair{job.Kind, job.Output, job.Channel, job.Vessel, p.Channel, p.Stem})
	}
	return list, nil
}

// Search explores a pair in full.
func (p *Pair) Search(memory uint64, workers int) (*Product, error) {
	q := &Product{Channel: p.Table, Stem: p.Stem, Memory: memory, Workers: workers}
	return q, q.Run()
}

// Each calls f for every step of a channel state: the news, the state that
// follows and the letter that the rest sees.
func (t *ChannelTable) Each(state uint32, f func(news monitor.Class, next uint32, letter Letter)) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.from(state, news) {
			f(news, e.next, e.letter)
		}
	}
}

// Violates says that a step breaks a default property; Meets that the property
// had something to say in it.
func (e *StemEdge) Violates(property int) bool { return e.Bad>>property&1 == 1 }

// Meets says that a property had something to say in a step.
func (e *StemEdge) Meets(property int) bool { return e.Hit>>property&1 == 1 }

// Violated says that a step that breaks a property was reached.
func (p *Product) Violated(property int) bool { return p.Bad>>property&1 == 1 }

// Met says that a step in which a property had something to say was reached.
func (p *Product) Met(property int) bool { return p.Hit>>property&1 == 1 }
