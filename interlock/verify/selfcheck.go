package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// Caught is what the self-check found of one mutant.
type Caught struct {
	Mutant     string   `json:"mutant"`
	Kind       string   `json:"kind"`
	Caught     bool     `json:"caught"`
	Properties []string `json:"properties,omitempty"` // that say violated
	Says       string   `json:"says"`
}

// SelfReport is the whole self-check.
type SelfReport struct {
	Unchanged Verdict  `json:"unchanged"` // what is said of the logic itself
	Mutants   []Caught `json:"mutants"`
	// ByProperty names, for each default property, the mutants that it catches.
	ByProperty map[string][]string `json:"by_property"`
}

// Verdict is shown if the unchanged logic is, every mutant was caught, and every
// property catches those that are planted for it, and at least one.
func (r *SelfReport) Verdict() Verdict {
	all := r.Unchanged
	for _, c := range r.Mutants {
		if !c.Caught {
			all = Worse(all, Violated)
		}
	}
	for i := range properties {
		p := &properties[i]
		by := r.ByProperty[p.Number.String()]
		if len(by) == 0 {
			all = Worse(all, Nothing) // nothing shows that it can be broken at all
		}
		for _, name := range p.Mutants {
			if !slices.Contains(by, name) {
				all = Worse(all, Violated)
			}
		}
	}
	if len(r.Mutants) == 0 {
		return Nothing
	}
	return all
}

// SelfCheck plants every mutant into the logic of the reference site and
// verifies it. A mutant counts as caught only by a property that is violated; an
// error or a search that was cut off does not count.
func SelfCheck(o model.Options) (*SelfReport, error) {
	m, err := model.Reference()
	if err != nil {
		return nil, err
	}
	unchanged, err := newVerification(m, model.Options{Memory: o.Memory, Workers: o.Workers, Audit: true})
	if err != nil {
		return nil, err
	}
	unchanged.stems = map[string]*table.Stem{}
	base, err := unchanged.run()
	if err != nil {
		return nil, err
	}
	report := &SelfReport{Unchanged: base.Verdict(), ByProperty: map[string][]string{}}
	if base.Audit.Different > 0 {
		report.Unchanged = Violated
	}
	for i, mutant := range Mutants() {
		c, err := tryMutant(m, o, mutant, unchanged)
		if err != nil {
			return nil, fmt.Errorf("mutant %q: %w", mutant.Name, err)
		}
		for _, p := range c.Properties {
			report.ByProperty[p] = append(report.ByProperty[p], mutant.Name)
		}
		report.Mutants = append(report.Mutants, c)
		if o.Progress != nil {
			o.Progress(i+1, len(Mutants()), mutant.Name, base.States*uint64(i+1))
		}
	}
	return report, nil
}

func tryMutant(m *model.Model, o model.Options, mutant Mutant, unchanged *verification) (Caught, error) {
	c := Caught{Mutant: mutant.Name, Kind: mutant.Kind}
	if mutant.skip != nil {
		return tryEngine(m, o, mutant, c)
	}
	l := model.Real()
	mutant.plant(l)
	v, err := newVerification(m, model.Options{Memory: o.Memory, Workers: o.Workers, Logic: l})
	if err != nil {
		return c, err
	}
	v.takeOver(unchanged, mutant.part)
	r, err := v.run()
	if err != nil {
		return c, err
	}
	for i := range r.Results {
		x := &r.Results[i]
		if x.Verdict == Violated && !slices.Contains(c.Properties, x.Property) {
			c.Properties = append(c.Properties, x.Property)
			if c.Says == "" {
				c.Says = fmt.Sprintf("property %s of %s: %s", x.Property, x.Output, x.Says)
			}
		}
	}
	c.Caught = len(c.Properties) > 0
	return c, nil
}

// tryEngine lets the search itself make a mistake. What catches it is the
// closure: from every state that was reached, every step must lead to one that
// was reached.
func tryEngine(m *model.Model, o model.Options, mutant Mutant, c Caught) (Caught, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return c, err
	}
	for _, job := range v.plan() {
		p, err := v.product(job, v.Options.MemoryLimit())
		if err != nil {
			return c, err
		}
		p.Skip = mutant.skip
		if err := p.Run(); err != nil {
			return c, err
		}
		p.Skip = nil
		if open := p.Open(); open > 0 {
			c.Caught = true
			c.Says = fmt.Sprintf("%s with %s: %d steps lead out of what was reached", job.Output, job.Channel, open)
			return c, nil
		}
	}
	return c, nil
}
