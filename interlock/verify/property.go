package verify

import (
	"slices"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
)

// Property is one promise that every site is verified for: the words that people
// read, what it assumes, who judges it, and who must catch its breach. Everything
// that deals with properties one by one reads it from here.
type Property struct {
	Number  model.Property
	Title   string   // in the reader's words
	Assumes []string // what it rests on, and who checks that
	Needs   Need     // of an output, for the property to be about it
	Stated  string   // the heading of SEMANTICS.md under which its rule stands

	// Sampled is what is only tried, on the whole site and from some of its states,
	// where the rest is searched; empty where every state is. Joint says it of
	// verify --joint.
	Sampled Sampling
	Joint   Joint
	Emitted Emitted

	// Mutants are the mistakes of the self-check that are planted for this property:
	// it must catch each.
	Mutants []string

	judge    func(v *verification, output int) *Result
	observe  func(o *observer, x *scan) breach // how a run breaks it in a scan; nil where no scan alone does
	unseen   string                            // why no scan alone shows its breach, where none does
	carried  carried                           // by the searches
	restsOn  model.PropertySet                 // of those that the searches carry; where one is broken, so is this
	counters []string                          // the lemmas that it rests on
	byCuts   bool                              // it goes through the cut sets: where some are left out it is not shown
	attack   attack
}

// Need is what an output must have for a property to be about it; the zero value is
// nothing.
type Need struct {
	What    string // as in "a vessel that it charges"
	Without string // what is so where it is missing, as in "it charges nothing"
	has     func(m *model.Model, output int) bool
}

func (n *Need) met(m *model.Model, output int) bool { return n.has == nil || n.has(m, output) }

var (
	needsBond = Need{"a bond that is asked of it", "no bond is asked of it",
		func(m *model.Model, output int) bool { return !m.WithoutBond(output) }}
	needsPress = Need{"a reset", "the output starts by itself",
		func(m *model.Model, output int) bool { return !m.Config.Outputs[output].Automatic }}
	needsVessel = Need{"a vessel that it charges", "it charges nothing",
		func(m *model.Model, output int) bool { return len(m.Config.VesselsOf(output)) > 0 }}
	needsReport = Need{"an end switch", "no end switch confirms the output",
		func(m *model.Model, output int) bool { return m.Config.Outputs[output].Confirmable() }}
	needsBackup = Need{"a backup", "it calls none",
		func(m *model.Model, output int) bool { return len(m.Config.Outputs[output].Backup) > 0 }}
	needsReportOrBackup = Need{"an end switch or a backup", "nothing reports and nothing is called",
		func(m *model.Model, output int) bool { return needsReport.has(m, output) || needsBackup.has(m, output) }}
	needsBypass = Need{"a bypass of a channel that it needs", "no bypass stands in for a channel that it needs",
		func(m *model.Model, output int) bool { return len(m.BypassesOf(output)) > 0 }}
)

// about says that a property is about an output.
func (p *Property) about(m *model.Model, output int) bool { return p.Needs.met(m, output) }

// Sampling is what is tried and not searched, of outputs that have what it needs.
type Sampling struct {
	What  string
	needs Need
}

func (s *Sampling) of(m *model.Model, output int) string {
	if s.needs.met(m, output) {
		return s.What
	}
	return ""
}

// Joint says how verify --joint comes to its verdict: by what the search of an output
// with all its channels met, or by a search of its own after that.
type Joint struct {
	Taken   string // why the verdict is that of verify without --joint, where it is
	Sampled Sampling

	judge  func(j *jointly) *Result
	search func(j *jointly) (*Result, error)
}

// Emitted says in which of the models that are printed for other checkers a property
// is stated.
type Emitted struct {
	In []Stating
	// Why says what keeps it from the models of an output.
	Why string
	// Asked says why it is demanded only when asked for.
	Asked string

	silent func(p *Piece) string
}

// Stating is a kind of printed model.
type Stating string

// An output with one channel; that with the charge memory of a vessel; a channel
// alone; a bypass alone.
const (
	InReset   Stating = searchReset
	InWait    Stating = searchWait
	InChannel Stating = "channel"
	InBypass  Stating = "bypass"
)

// States says that a model of a kind states the property.
func (e *Emitted) States(kind string) bool { return slices.Contains(e.In, Stating(kind)) }

// The kinds of search: an output with its buttons, delays and confirmation; or in
// brief with a vessel, its wait and its streams.
const (
	searchReset = "reset"
	searchWait  = "wait"
)

// carried says which searches have a bit for a property on their steps, and what an
// output must have for it ever to be met.
type carried struct {
	by    []string
	needs Need
}

// attack says how a run that breaks a property is looked for.
type attack struct {
	shownBy []model.Property // what else is seen in a run where it is broken, the likeliest first
	ofSite  func(h *falsifier) *runs.Run
	ofOne   []func(h *falsifier, t *table.ChannelTable, channel int) *runs.Run // of one needed channel after the other
	alone   bool                                                               // what one channel does is seen whatever the others of its cut set do
	comes   bool                                                               // it is that the output comes back
}

// shownBy is what is seen in a run where the property is broken: itself, or others.
func (p *Property) shownBy() []model.Property {
	return append([]model.Property{p.Number}, p.attack.shownBy...)
}

// breaks is shownBy as a set.
func (p *Property) breaks() model.PropertySet { return model.Properties(p.shownBy()...) }

// Properties lists every property, by number.
func Properties() []Property { return slices.Clone(properties) }

// TitleOf is a property in the reader's words.
func TitleOf(number model.Property) string {
	for i := range properties {
		if properties[i].Number == number {
			return properties[i].Title
		}
	}
	return ""
}

// carriedBy lists the properties that a kind of search of an output carries, and may
// ever meet.
func (v *verification) carriedBy(output int, kind string) (list []model.Property) {
	for i := range v.properties {
		c := &v.properties[i].carried
		if slices.Contains(c.by, kind) && c.needs.met(v.Model, output) {
			list = append(list, v.properties[i].Number)
		}
	}
	return list
}

// property is the entry of a number; nil if there is none.
func (v *verification) property(number model.Property) *Property {
	for i := range v.properties {
		if v.properties[i].Number == number {
			return &v.properties[i]
		}
	}
	return nil
}

// Silent says why a property has nothing to say of a printed model of an output
// whatever happens; empty if it has.
func (p *Piece) Silent(number model.Property) string {
	entry := p.verification.property(number)
	switch m := p.verification.Model; {
	case entry == nil:
	case !entry.carried.needs.met(m, p.job.output):
		return entry.carried.needs.Without
	case entry.Emitted.silent != nil:
		return entry.Emitted.silent(p)
	}
	return ""
}
