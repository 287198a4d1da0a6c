package review

import (
	"slices"
	"strings"
)

// Severity says how a finding counts.
type Severity string

// The severities. must: as written, a transfer may run that should not, or the
// file contradicts itself. should: weaker than it can be made. note: know this.
const (
	Must   Severity = "must"
	Should Severity = "should"
	Note   Severity = "note"
	Never  Severity = "never" // for --fail-on alone
)

// weight orders severities, worst first.
var weight = map[Severity]int{Must: 0, Should: 1, Note: 2, Never: -1}

// Confidence in a source, in the words of charge.Confidence where they apply.
const (
	seen       = "seen"
	secondHand = "second-hand"
	fromMemory = "from memory"
	unsure     = "from memory, unsure"
	derived    = "derived"
	practice   = "common practice"
)

// Sources that several rules cite.
const (
	bySemantics = "arithmetic of the logic itself (interlock/SEMANTICS.md)"
	byTrade     = "lessons of the trade"
	by60228     = "IEC 60228:2004, maximum resistances at 20 °C"
	byNFPA      = "NFPA 77 (2000 ed.), Table 7.6"
	byReset     = "ISO 13849-1:2015, 5.2.2"
	byBag       = "IEC 61340-4-4:2018"
	byMargin    = "charge margin of this site (ohmgate margin)"
)

// say records one place where a rule is broken.
type say func(path, format string, args ...any)

// Rule is one entry of the list. Its ID never changes and is never used again.
type Rule struct {
	ID         string   `json:"id"`
	Severity   Severity `json:"severity"`
	Title      string   `json:"title"`
	Why        string   `json:"why"`
	Source     string   `json:"source"`
	Confidence string   `json:"confidence"`
	Change     string   `json:"change"`

	find func(s *subject, say say)
}

// Cite is the source with its honest status.
func (r *Rule) Cite() string { return r.Source + " (" + r.Confidence + ")" }

// Rules is the whole list in the order of the ids.
func Rules() []Rule {
	list := slices.Concat(thresholdRules, leadRules, dissipativeRules, instrumentRules, timingRules, evidenceRules,
		logicRules, pressRules, bypassRules, confirmRules, streamRules, vesselRules, partRules, answerRules, marginRules, rigRules, suppressionRules)
	slices.SortFunc(list, func(a, b Rule) int { return strings.Compare(a.ID, b.ID) })
	return list
}
