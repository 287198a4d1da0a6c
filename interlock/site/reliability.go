package site

import (
	"fmt"
	"time"

	"ohmgate/interlock/site/quantity"
)

// Function is one safety function with the user's own failure rates: groups in
// series, each of which must work.
type Function struct {
	Name, Title string
	Demand      string // high | low
	Target      int    // level asked for, 1 to 4; 0 where the file is silent
	Groups      []Group
}

// Group is a set of equal channels of a safety function that vote.
type Group struct {
	Name          string
	Architecture  string  // 1oo1 | 1oo2 | 2oo2 | 2oo3 | 1oo3
	Dangerous     float64 // 1/h
	Safe          float64 // 1/h
	Coverage      float64 // 0..1
	Beta          float64 // 0..1
	BetaDetected  Span    // 0..1
	ProofTest     time.Duration
	ProofCoverage float64 // 0..1
	FullTest      time.Duration
	Repair        time.Duration
	Restoration   time.Duration
}

const maxFunctions, maxGroups = 64, 16

var functionFields = fields[Function]{
	may("title", text(func(f *Function) *string { return &f.Title }), "What people call it."),
	must("demand", oneOf(func(f *Function) *string { return &f.Demand }, "high", "low"), "high: called on more than once a year, as with every transfer; its figure is PFH. low: PFDavg."),
	may("target", count(func(f *Function) *int { return &f.Target }, 1, 4), "Safety integrity level that is asked for."),
	must("groups", listOf(section(groupFields, self), func(f *Function) *[]Group { return &f.Groups }, maxGroups), "Sensors, logic, final elements: all must work."),
}

var groupFields = fields[Group]{
	must("name", text(func(g *Group) *string { return &g.Name }), "What it is."),
	must("architecture", oneOf(func(g *Group) *string { return &g.Architecture }, "1oo1", "1oo2", "2oo2", "2oo3", "1oo3"), "How many of how many channels must work."),
	must("dangerous", float(quantity.Rate, func(g *Group) *float64 { return &g.Dangerous }), "Rate of dangerous failures of one channel."),
	may("safe", float(quantity.Rate, func(g *Group) *float64 { return &g.Safe }), "Rate of failures of one channel that trip."),
	must("coverage", float(quantity.Ratio, func(g *Group) *float64 { return &g.Coverage }), "Share of the dangerous failures that diagnostics find."),
	may("beta", float(quantity.Ratio, func(g *Group) *float64 { return &g.Beta }), "Share of undetected failures with a common cause; needed for more than one channel."),
	may("beta_detected", single(quantity.Ratio, func(g *Group) *Span { return &g.BetaDetected }), "The same for detected failures; silent: as beta."),
	must("proof_test", duration(func(g *Group) *time.Duration { return &g.ProofTest }), "Interval of the proof test, such as 8760 h."),
	must("proof_coverage", float(quantity.Ratio, func(g *Group) *float64 { return &g.ProofCoverage }), "Share of the undetected failures that the proof test finds."),
	may("full_test", duration(func(g *Group) *time.Duration { return &g.FullTest }), "After this time the rest is found too; needed below 100 %."),
	must("repair", duration(func(g *Group) *time.Duration { return &g.Repair }), "Mean repair time after a proof test."),
	must("restoration", duration(func(g *Group) *time.Duration { return &g.Restoration }), "Mean time to restoration after diagnostics."),
}

// single is one value of the physics of which it must be known whether the file
// says it.
func single[T any](d quantity.Dimension, to func(*T) *Span) value[T] {
	return scalarOf(quantitySchema(d, false), func(_ *reader, n *node, _ string, into *T) (string, string) {
		exact, wrong := quantity.Single(n.text, d)
		if wrong != nil {
			return wrong.Text, wrong.Instead
		}
		at, _ := exact.Float64()
		*to(into) = Span{at, at, true}
		return "", ""
	})
}

// checkFunction refuses groups that cannot be calculated, with their places.
func (r *reader) checkFunction(f *Function) {
	path := "reliability." + f.Name
	r.when(r.ok(path+".groups") && len(f.Groups) == 0, path+".groups", "a function without a group does nothing", "name its sensors, logic and final elements")
	for i := range f.Groups {
		g := &f.Groups[i]
		at := fmt.Sprintf("%s.groups.%d", path, i)
		r.missing(g.Architecture != "1oo1" && r.ok(at+".architecture"), at, "beta", "more than one channel can fail together", "5 %")
		r.when(r.ok(at+".proof_test") && g.ProofTest <= 0, at+".proof_test", "the proof test has no interval", "write a time, such as 8760 h")
		r.when(r.ok(at+".proof_coverage") && g.ProofCoverage <= 0, at+".proof_coverage", "a proof test that finds nothing is none", "write a share, such as 90 %")
		r.missing(r.ok(at+".proof_coverage") && g.ProofCoverage < 1, at, "full_test", "the proof test leaves failures, which must be found some time", "87600 h")
		r.when(r.ok(at+".full_test") && r.ok(at+".proof_test") && g.FullTest < g.ProofTest, at+".full_test", "the full test comes before the proof test", "write a longer time")
		for _, share := range []struct {
			key   string
			value float64
		}{{"coverage", g.Coverage}, {"beta", g.Beta}, {"beta_detected", g.BetaDetected.Hi}, {"proof_coverage", g.ProofCoverage}} {
			r.when(share.value > 1, at+"."+share.key, "a share above 100 %", "write 0 % to 100 %")
		}
	}
}
