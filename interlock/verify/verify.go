package verify

import (
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Report is all that a verification has to say.
type Report struct {
	Site     string      `json:"site"`
	Hash     string      `json:"site_hash"`
	Results  []Result    `json:"results"`
	Cuts     []OutputCut `json:"cut_sets"`
	Channels []Worst     `json:"channels"`
	Searches []*Searched `json:"searches"`
	Lemmas   []Lemma     `json:"lemmas"`
	States   uint64      `json:"states"`
	Steps    uint64      `json:"transitions"`
	Audit    *Audit      `json:"audit,omitempty"`
	Took     float64     `json:"seconds"`
}

// OutputCut is what must be unfit to stop an output, in names.
type OutputCut struct {
	Output   string     `json:"output"`
	Sets     [][]string `json:"minimal_cut_sets"`
	Response []Response `json:"response"`
}

// Response is the longest from the first bad scan of every member of a cut set
// until the output is withheld.
type Response struct {
	Set     []string    `json:"set"`
	Class   string      `json:"class"` // or "any mixture"
	Scans   model.Scans `json:"scans"`
	Seconds float64     `json:"seconds"`
	Bound   string      `json:"bound"`            // exact or upper bound
	Bypass  string      `json:"bypass,omitempty"` // what may stand in for one of the set and is not in the number
	Run     *runs.Run   `json:"run,omitempty"`
}

// Audit counts comparisons of tabulated steps with the whole Step.
type Audit struct {
	Compared  uint64 `json:"compared"`
	Different uint64 `json:"different"`
	States    uint64 `json:"states"` // of the tables whose steps were compared
	Of        uint64 `json:"of_states"`
}

// verification is one run of the verifier.
type verification struct {
	*runs.Bench
	properties []Property
	outputs    []int
	report     *Report

	searches   []*Searched
	walked     map[monitor.Config]compared
	tried      map[int]trialsFound
	judged     map[monitor.Config][model.MaxProperties]misjudged
	gaveUp     map[model.Property]bool // properties for which a long search found no run
	turns      uint64                  // of a falsifier, at most
	auditEvery int                     // tests look at every nth state of an output; 0 is all
	progress   *progress
	stems      map[string]*table.Stem // kept only where mutants will take them over
}

func newVerification(m *model.Model, o model.Options) (*verification, error) {
	return verificationOf(properties, m, o)
}

// verificationOf judges by a table of properties.
func verificationOf(properties []Property, m *model.Model, o model.Options) (*verification, error) {
	v := &verification{Bench: runs.NewBench(m, o), properties: properties, report: &Report{Site: m.Site, Hash: m.Hash},
		walked: map[monitor.Config]compared{}, tried: map[int]trialsFound{}, judged: map[monitor.Config][model.MaxProperties]misjudged{}, gaveUp: map[model.Property]bool{}, turns: falsifyTurns}
	var err error
	v.outputs, err = m.OutputsNamed(o.Outputs)
	return v, err
}

// Verify searches everything and judges every property. A CutOff is no error of
// Verify: what could not be searched is "not shown".
func Verify(m *model.Model, o model.Options) (*Report, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	return v.run()
}

func (v *verification) run() (*Report, error) {
	began := time.Now()
	if v.searches == nil {
		v.searches = v.plan()
		if err := v.search(v.searches); err != nil {
			return nil, err
		}
	}
	v.lemmas()
	v.judge()
	if v.Options.Audit || v.Options.Logic == nil { // a mutant of a part is not in the whole Step
		v.report.Audit = v.audit()
	}
	v.auditFailed()
	counted := map[string]bool{}
	for _, s := range v.searches {
		if !counted[s.key] {
			counted[s.key] = true
			v.report.States += s.States
			v.report.Steps += s.Steps
		}
	}
	v.report.Searches = v.searches
	v.report.Took = time.Since(began).Seconds()
	return v.report, nil
}

// takeOver takes from another verification of the same model what a mutant of
// one part cannot have changed.
func (v *verification) takeOver(from *verification, changed part) {
	if changed == partOutput || changed >= partVessel {
		for c, t := range from.ByChannel {
			v.ByChannel[c] = t
		}
		for c, f := range from.Facts {
			v.Facts[c] = f
		}
	}
	if changed == partChannel || changed >= partVessel {
		for key, t := range from.ByOutput {
			v.ByOutput[key] = t
		}
	}
	if changed == partChannel {
		v.stems = from.stems
	}
	if changed == partStep {
		v.searches = from.searches
		for c, w := range from.walked {
			v.walked[c] = w
		}
	}
}

// interlockTruth turns a level into the text that scenarios use.
func levelText(t interlock.Truth) string {
	return map[interlock.Truth]string{interlock.True: "1", interlock.False: "0", interlock.Unknown: "unknown"}[t]
}

// Verdict is the verdict of all results together; nothing at all is nothing
// checked.
func (r *Report) Verdict() Verdict {
	if len(r.Results) == 0 {
		return Nothing
	}
	all := Shown
	for i := range r.Results {
		all = Worse(all, r.Results[i].Verdict)
	}
	if r.Audit != nil && r.Audit.Different > 0 {
		all = Worse(all, NotShown) // what was searched is not what runs
	}
	for i := range r.Lemmas {
		if !r.Lemmas[i].holds() {
			all = Worse(all, NotShown) // nor is it what was cut into cells
		}
	}
	return all
}

// CannotAnswer lists what an assessor asks and no verification of the logic can
// answer.
var CannotAnswer = []string{
	"Is the reading the truth: right object, not frozen, fast enough?",
	"How often do parts fail, and do several fail of one cause?",
	"Do the target's compiler, input and output image and timers do the same?",
	"Is the time that is available right, and does the valve seal?",
	"Is the copy of the phases that runs beside the logic an independent check? No: it runs the same chart.",
	"Who may change it?",
}

// PropertyNames lists what may be asked for: the default properties by number
// and the site's own by name.
func PropertyNames(m *model.Model) []string {
	var names []string
	for i := range properties {
		names = append(names, properties[i].Number.String())
	}
	for i := range m.Own {
		names = append(names, m.Own[i].Name)
	}
	return names
}
