package verify

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// cuts lists the minimal cut sets of an output with their worst responses.
func (v *verification) cuts(output int) {
	entry := OutputCut{Output: v.Model.Names.Outputs[output]}
	for _, set := range model.CutSets(v.Model.Config.Outputs[output].Permissive) {
		var names []string
		for _, cause := range set {
			names = append(names, v.Model.Cause(cause))
		}
		entry.Sets = append(entry.Sets, names)
		entry.Response = append(entry.Response, v.responses(output, set, names)...)
	}
	v.report.Cuts = append(v.report.Cuts, entry)
}

// mixture stands for any classes, one after the other, where a class is asked for.
const mixture = monitor.Class(monitor.Classes)

// How sure a worst response is.
const (
	boundExact = "exact"       // a run attains it
	boundUpper = "upper bound" // no run was found that does
)

// responses are the worst responses of one cut set: for each class alone, and
// for any mixture. All members are bad in every scan from the first on; the
// slowest decides, and one input is unfit in the scan in which it is seen.
func (v *verification) responses(output int, set []int, names []string) []Response {
	var list []Response
	for _, class := range []monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High, mixture} {
		if r := v.responseTo(output, set, names, class); r.Scans != 0 {
			list = append(list, r)
		}
	}
	return list
}

// responseTo is the worst response to one class; of no scans where it can not happen.
func (v *verification) responseTo(output int, set []int, names []string, class monitor.Class) Response {
	text := "any mixture"
	if class != mixture {
		text = class.String()
	}
	r := Response{Set: names, Class: text, Bound: boundExact, Bypass: v.standIns(output, set)}
	for _, cause := range set {
		n, attained := v.detection(cause, class)
		r.Scans = max(r.Scans, n)
		if !attained {
			r.Bound = boundUpper
		}
	}
	if r.Scans != 0 && r.Scans != model.Endless {
		r.Seconds = (v.Model.Longest(r.Scans) + v.slowest(output, set)).Seconds()
		v.attain(output, set, class, &r)
	}
	return r
}

// slowest is what is added to the scans: the aperture of the measurement, the poll
// where it is slower than a scan, and the contact and module of the output.
func (v *verification) slowest(output int, set []int) (sum time.Duration) {
	for _, cause := range set {
		if cause < len(v.Model.Aperture) {
			sum = max(sum, v.Model.Read(v.Model.Aperture[cause]))
		}
	}
	if output < len(v.Model.OutputDelay) {
		sum += v.Model.OutputDelay[output]
	}
	return sum
}

// detection is the longest that one cause stays fit to keep while it is bad.
func (v *verification) detection(cause int, class monitor.Class) (n model.Scans, exact bool) {
	if cause >= len(v.Model.Config.Channels) {
		n, exact = 1, true
		if class != monitor.Missing && class != monitor.Classes {
			return n, exact
		}
		// A signal that no longer comes repeats for stale-after scans.
		return v.Model.Config.Inputs[cause-len(v.Model.Config.Channels)].StaleAfter + 1, true
	}
	f, err := v.FactsOf(cause)
	switch {
	case err != nil:
		return model.Endless, false
	case class == monitor.Classes:
		return f.Detect, f.Exact
	}
	return f.DetectOf[class], f.Exact
}

// attain replays the worst response on the whole site. Where the real run takes
// as long, the number is exact; where it does not, it is an upper bound.
func (v *verification) attain(output int, set []int, class monitor.Class, r *Response) {
	s := v.Start(output)
	if !s.Runs {
		r.Bound = boundUpper
		return
	}
	d, record := s.From()
	n := model.Scans(0)
	for ; n <= r.Scans && d.Enabled(); n++ {
		d.Healthy()
		for _, cause := range set {
			v.worsen(d, cause, class, n)
		}
		record.Turn(d)
	}
	if d.Enabled() || n != r.Scans {
		r.Bound = boundUpper
	}
	r.Run = record.Finish(fmt.Sprintf("%s bad (%s) from scan %d on: %s withheld in the %s scan", strings.Join(r.Set, " and "), r.Class, record.Scans-uint64(n), v.Model.Names.Outputs[output], nth(n)), len(set))
	r.Run.Property, r.Run.Output = model.PropertyResponse.String(), v.Model.Names.Outputs[output]
	r.Run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", n, record.Scans-uint64(n), v.Model.Names.Outputs[output])
	if d.Enabled() {
		r.Run = nil
	}
}

// worsen makes one cause bad in the nth scan as it takes longest to be seen.
func (v *verification) worsen(d *runs.Driver, cause int, class monitor.Class, n model.Scans) {
	channels := len(d.Config.Channels)
	switch {
	case cause >= channels && (class == monitor.Missing || class == monitor.Classes):
		d.In.Signals[cause-channels] = interlock.NoSignal
	case cause >= channels:
		d.Spoil(cause, class)
	default:
		news := class
		if f, _ := v.FactsOf(cause); class == monitor.Classes && len(f.Run) > 0 {
			news = f.Run[min(int(n), len(f.Run)-1)]
		}
		d.In.Readings[cause] = table.ReadingOf(&d.Config.Channels[cause].Config, news, d.Stamp)
	}
}

// response: bounded for every cut set.
func (v *verification) response(output int) *Result {
	r := v.found(output, model.PropertyWithhold, searchReset)
	if r.Verdict != Shown {
		return r
	}
	r.Verdict = Nothing
	cut := v.report.Cuts[len(v.report.Cuts)-1]
	worst := model.Scans(0)
	for i := range cut.Response {
		n := &cut.Response[i]
		switch {
		case n.Scans == model.Endless:
			r.Verdict, r.Says = Violated, fmt.Sprintf("%v, %s: never withheld", n.Set, n.Class)
			return r
		case n.Run != nil && r.Verdict == Nothing:
			r.Verdict = Shown
		}
		if n.Scans >= worst {
			worst = n.Scans
			r.Says = fmt.Sprintf("withheld by scan %d of %v bad (%.0f ms, %s)", n.Scans, n.Set, n.Seconds*1000, n.Bound)
			if n.Run != nil {
				r.Example = n.Run
			}
		}
	}
	if r.Verdict == Nothing {
		r.Says = "no cut set was seen to stop it"
	}
	r.But = v.standIns(output, v.Model.Needed(output))
	if said := v.classBound(output); said != "" && r.Verdict == Shown {
		r.Verdict, r.Says = Violated, said
	}
	return v.misjudged(output, model.PropertyResponse, r)
}

// classBound compares every detection with what the configuration promises: the
// budget over the cost of the class, a longest stay, and stale-after once.
func (v *verification) classBound(output int) string {
	for _, ch := range v.Model.Needed(output) {
		f, err := v.FactsOf(ch)
		if err != nil {
			continue
		}
		c := &v.Model.Config.Channels[ch].Config
		for _, class := range table.Bad {
			if !table.Possible(c)[class] {
				continue
			}
			promised := dipsForgiven(c, class) + 1
			if f.DetectOf[class] > promised {
				return fmt.Sprintf("%s lasts %d scans of class %s, promised %d", v.Model.Names.Channels[ch], f.DetectOf[class], class, promised)
			}
		}
	}
	return ""
}

// Worst are the worst cases of one channel, in names and scans.
type Worst struct {
	Channel  string                 `json:"channel"`
	States   int                    `json:"states"`
	Steps    int                    `json:"transitions"`
	Bond     model.Scans            `json:"bond_scans"`
	Detect   model.Scans            `json:"worst_detection_scans"`
	DetectMs float64                `json:"worst_detection_ms"`
	Patience map[string]model.Scans `json:"guaranteed_patience_scans"`
	Stretch  model.Scans            `json:"longest_bad_stretch_scans"`
	ShareBad uint64                 `json:"tolerated_bad"`
	ShareOf  uint64                 `json:"tolerated_of"`
	Pattern  string                 `json:"tolerated_pattern"`
	Recover  model.Scans            `json:"recovery_scans"`
	Repay    model.Scans            `json:"repay_scans"`
	Exact    bool                   `json:"exact"`
}

// channelWorst reports the worst cases of every channel in a wanted cone.
func (v *verification) channelWorst() {
	done := map[int]bool{}
	for _, o := range v.outputs {
		for _, ch := range v.Model.ChannelsOf(o, -1) {
			if done[ch] {
				continue
			}
			done[ch] = true
			f, err := v.FactsOf(ch)
			if err != nil {
				continue
			}
			common := table.Divisor(f.Share.Bad, f.Share.Of)
			w := Worst{Channel: v.Model.Names.Channels[ch], States: f.States, Steps: f.Transitions, Bond: f.BondScans, Detect: f.Detect,
				Patience: map[string]model.Scans{}, ShareBad: f.Share.Bad / common, ShareOf: f.Share.Of / common, Pattern: model.PatternText(f.Share.Pattern), Recover: f.Recover, Repay: f.Repay, Exact: f.Exact && !f.Share.Bound}
			if f.Detect != model.Endless {
				w.DetectMs = (v.Model.Longest(f.Detect) + v.slowest(o, []int{ch})).Seconds() * 1000
				w.Stretch = f.Detect - 1
			}
			for _, class := range table.Bad {
				w.Patience[class.String()] = f.Patience[class]
			}
			v.report.Channels = append(v.report.Channels, w)
		}
	}
}

// nth is a scan's place in a row, in words.
func nth(n model.Scans) string {
	ending := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			ending = "st"
		case 2:
			ending = "nd"
		case 3:
			ending = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, ending)
}

// LossBound is the longest from the first reading of a class of one channel to the
// scan in which an output is withheld, where this channel alone is enough to stop it.
type LossBound struct {
	Output, Channel int
	Class           monitor.Class
	Scans           model.Scans
	Exact           bool // a run attains it
}

// LossBounds are those of the wanted outputs that end, without any property: fast
// enough to ask before a test. The error names an output that the site does not have.
func LossBounds(m *model.Model, o model.Options) (list []LossBound, err error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	for _, output := range v.outputs {
		for _, set := range model.CutSets(m.Config.Outputs[output].Permissive) {
			if len(set) != 1 || set[0] >= len(m.Config.Channels) {
				continue
			}
			for _, class := range []monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High} {
				if r := v.responseTo(output, set, []string{m.Cause(set[0])}, class); r.Scans != 0 && r.Scans != model.Endless {
					list = append(list, LossBound{output, set[0], class, r.Scans, r.Bound == boundExact})
				}
			}
		}
	}
	return list, nil
}
