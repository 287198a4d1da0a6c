package verify

import (
	"fmt"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

func (v *verification) dips(output int) *Result {
	r := v.found(output, model.PropertyWithhold, searchReset)
	if r.Verdict != Shown {
		return r
	}
	r.Verdict = Nothing
	for _, ch := range v.Model.Needed(output) {
		f, err := v.FactsOf(ch)
		if err != nil {
			return &Result{Verdict: NotShown, Says: err.Error()}
		}
		c := &v.Model.Config.Channels[ch].Config
		for _, class := range table.Bad {
			if !table.Possible(c)[class] {
				continue
			}
			want := dipsForgiven(c, class)
			if f.Patience[class] < want {
				r.Verdict, r.Says = Violated, fmt.Sprintf("%s: %d bad scans of class %s trip it, %d must be forgiven", v.Model.Names.Channels[ch], f.Patience[class]+1, class, want)
				return r
			}
			r.Verdict = Shown
		}
		r.Says = fmt.Sprintf("%s forgives %s; repaid after %d good", v.Model.Names.Channels[ch], patienceText(c, &f), f.Repay)
	}
	return v.withRun(v.misjudged(output, model.PropertyPatience, r), output, model.PropertyPatience)
}

// dipsForgiven is how many bad scans of one class the budget must cover: one
// fewer than spend it, and no more than doubtful may last.
func dipsForgiven(c *monitor.Config, class monitor.Class) model.Scans {
	if c.Cost[class] == 0 {
		return 0
	}
	spend := model.Scans((c.Full-1)/c.Cost[class]) + 1
	forgiven := min(spend-1, c.LongestStay)
	if class == monitor.Missing { // a gap is bad only once it is stale
		forgiven += c.StaleAfter
	}
	return forgiven
}

func patienceText(c *monitor.Config, f *table.ChannelFacts) string {
	text := ""
	for _, class := range [...]monitor.Class{monitor.High, monitor.Open, monitor.Invalid, monitor.Missing} {
		if table.Possible(c)[class] {
			if text != "" {
				text += ", "
			}
			text += fmt.Sprintf("%d %s", f.Patience[class], class)
		}
	}
	return text
}
