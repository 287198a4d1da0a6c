package wiring

import (
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// Calibration is what a decade, or the fixed resistors, really give at the clamp.
type Calibration struct {
	File, Hash  string
	Instrument  string
	Serial      string
	Date, Due   time.Time
	Temperature string
	Contacts    monitor.Microohm // what relay contacts in series add at the most; goes into the uncertainty
	Points      []CalPoint       // in rising order of Set
}

// CalPoint is one calibrated value.
type CalPoint struct {
	Set, Actual, Uncertainty monitor.Microohm
}

var calKeys = []string{"instrument", "serial", "date", "due", "temperature", "contacts", "points"}

// ReadCalibration reads a calibration file: strict YAML, quantities with units.
func ReadCalibration(file string) (*Calibration, site.Problems) {
	data, problems := site.ReadBytes(file)
	if problems != nil {
		return nil, problems
	}
	root, problems := site.Document(file, data)
	if problems != nil {
		return nil, problems
	}
	r := &calReader{made: &Calibration{File: file, Hash: site.Hash(data)}}
	if root.Shape != site.Mapping {
		r.complain(root.At, "a calibration file is a mapping", "write instrument:, date:, points: …")
		return nil, r.problems
	}
	seen := map[string]bool{}
	for _, e := range root.Entries {
		if seen[e.Key] {
			r.complain(e.At, fmt.Sprintf("the key %q stands here a second time", e.Key), "keep one")
		}
		seen[e.Key] = true
		r.entry(e)
	}
	for _, key := range []string{"instrument", "date", "due", "points"} {
		if !seen[key] {
			r.complain(root.At, fmt.Sprintf("the key %q is missing", key), "write it from the certificate")
		}
	}
	slices.SortFunc(r.made.Points, func(a, b CalPoint) int { return int(min(max(a.Set-b.Set, -1), 1)) })
	if len(r.problems) > 0 {
		return nil, r.problems.Sorted()
	}
	return r.made, nil
}

// calReader is one reading of one calibration file.
type calReader struct {
	made     *Calibration
	problems site.Problems
}

func (r *calReader) complain(at site.Position, text, instead string) {
	r.problems = append(r.problems, site.Problem{File: r.made.File, Line: at.Line, Column: at.Column, Text: text, Instead: instead})
}

func (r *calReader) entry(e site.Entry) {
	switch e.Key {
	case "instrument":
		r.made.Instrument = e.Value.Text
	case "serial":
		r.made.Serial = e.Value.Text
	case "temperature":
		r.made.Temperature = e.Value.Text
	case "date":
		r.made.Date = r.date(e.Value)
	case "due":
		r.made.Due = r.date(e.Value)
	case "contacts":
		r.made.Contacts = r.ohms(e.Value)
	case "points":
		r.points(e.Value)
	default:
		instead := fmt.Sprintf("use one of %v", calKeys)
		if meant := site.Nearest(e.Key, calKeys); meant != "" {
			instead = "write " + meant
		}
		r.complain(e.At, fmt.Sprintf("unknown key %q", e.Key), instead)
	}
}

var dateForm = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)

func (r *calReader) date(n *site.Node) time.Time {
	if dateForm.MatchString(n.Text) {
		if day, err := time.Parse(time.DateOnly, n.Text); err == nil {
			return day
		}
	}
	r.complain(n.At, fmt.Sprintf("%q is no date", n.Text), "write year-month-day, such as 2026-05-31")
	return time.Time{}
}

func (r *calReader) ohms(n *site.Node) monitor.Microohm {
	exact, wrong := quantity.Single(n.Text, quantity.Resistance)
	if wrong != nil {
		r.complain(n.At, wrong.Text, wrong.Instead)
		return 0
	}
	micro, whole := quantity.Int(exact, 1e6)
	if !whole || exact.Cmp(big.NewRat(1e12, 1)) > 0 {
		r.complain(n.At, fmt.Sprintf("%q is not a whole number of uΩ up to 1 TΩ", n.Text), "round it")
		return 0
	}
	return monitor.Microohm(micro)
}

func (r *calReader) points(n *site.Node) {
	if n.Shape != site.List || len(n.Items) == 0 {
		r.complain(n.At, "points is a list", "write - {set: 9 Ω, actual: 9.02 Ω, uncertainty: 0.02 Ω}")
		return
	}
	for _, item := range n.Items {
		var one CalPoint
		given := map[string]bool{}
		for _, e := range item.Entries {
			given[e.Key] = true
			switch e.Key {
			case "set":
				one.Set = r.ohms(e.Value)
			case "actual":
				one.Actual = r.ohms(e.Value)
			case "uncertainty":
				one.Uncertainty = r.ohms(e.Value)
			default:
				r.complain(e.At, fmt.Sprintf("unknown key %q", e.Key), "use set, actual, uncertainty")
			}
		}
		if !given["set"] || !given["actual"] || !given["uncertainty"] {
			r.complain(item.At, "a point needs set, actual and uncertainty", "write - {set: 9 Ω, actual: 9.02 Ω, uncertainty: 0.02 Ω}")
			continue
		}
		r.made.Points = append(r.made.Points, one)
	}
}

// calibration reads the file that the site names, beside the site.
func (r *mapReader) calibration() {
	name := r.made.Site.Rig.Cal
	if name == "" {
		return
	}
	if !filepath.IsAbs(name) {
		name = filepath.Join(filepath.Dir(r.made.Site.File), name)
	}
	if _, err := os.Stat(name); err != nil {
		r.complain("rig.calibration", fmt.Sprintf("the calibration file cannot be read: %v", err), "name a file beside the site file")
		return
	}
	made, problems := ReadCalibration(name)
	r.made.Cal = made
	r.problems = append(r.problems, problems...)
	if made != nil {
		r.sameCalibration(made)
	}
}

// sameCalibration refuses a calibration file and a rig map that say different things about one instrument.
func (r *mapReader) sameCalibration(c *Calibration) {
	for index := range r.made.Site.Rig.Modules {
		m := &r.made.Site.Rig.Modules[index]
		path := "rig.modules." + m.Name
		switch {
		case m.Name == c.Instrument && c.Serial != "" && m.Serial != "" && m.Serial != c.Serial:
			r.complain(path+".serial", fmt.Sprintf("%s has serial %s here and %s in %s", m.Name, m.Serial, c.Serial, c.File), "name the calibration of this very instrument")
		case m.CalDue == "" || m.Name != c.Instrument && (m.Serial == "" || m.Serial != c.Serial):
		case m.CalDue != c.Due.Format(time.DateOnly):
			r.complain(path+".calibration_due", fmt.Sprintf("the calibration of %s is due on %s here and on %s in %s", m.Name, m.CalDue, c.Due.Format(time.DateOnly), c.File), "write the date of the certificate at both places, or leave it out here")
		}
	}
}

// Overdue says which calibrations, of instruments in the rig map and of the calibration file, are over.
func (m *Map) Overdue(today time.Time) (list []string) {
	over := func(name string, due time.Time) {
		if !due.IsZero() && today.After(due.AddDate(0, 0, 1)) {
			list = append(list, fmt.Sprintf("the calibration of %s was due on %s", name, due.Format(time.DateOnly)))
		}
	}
	told := false
	for index := range m.Site.Rig.Modules {
		one := &m.Site.Rig.Modules[index]
		if due, err := time.Parse(time.DateOnly, one.CalDue); err == nil {
			over(one.Name, due)
			told = told || m.Cal != nil && one.Name == m.Cal.Instrument
		}
	}
	if m.Cal != nil && !told {
		over(m.Cal.Instrument, m.Cal.Due)
	}
	return list
}

// Actual is what a set value really is and how sure that is. Between calibrated points the error is taken as a straight line
// and the uncertainty as the larger of the two; ok is false outside them.
func (c *Calibration) Actual(set monitor.Microohm) (actual, uncertainty monitor.Microohm, ok bool) {
	if c == nil {
		return 0, 0, false
	}
	for index := range c.Points {
		high := &c.Points[index]
		if high.Set == set {
			return high.Actual, high.Uncertainty + c.Contacts, true
		}
		if high.Set > set && index > 0 {
			low := &c.Points[index-1]
			share := big.NewRat(int64(set-low.Set), int64(high.Set-low.Set))
			lowError, highError := int64(low.Actual-low.Set), int64(high.Actual-high.Set)
			errorRat := share.Mul(share, big.NewRat(highError-lowError, 1))
			rounded := new(big.Int).Quo(errorRat.Num(), errorRat.Denom())
			return set + monitor.Microohm(lowError+rounded.Int64()), max(low.Uncertainty, high.Uncertainty) + c.Contacts, true
		}
		if high.Set > set {
			return 0, 0, false
		}
	}
	return 0, 0, false
}

// LimitTest is a resistance near a limit.
type LimitTest struct {
	Channel   string
	Set       monitor.Microohm
	Limit     monitor.Microohm
	LimitName string
}

// near is how close to a limit a resistance is a test of it: a tenth of the limit.
const near = 10

// IsLimitTest says that a resistance is so close to a limit that it tests it.
func IsLimitTest(value, limit monitor.Microohm) bool {
	distance := max(value-limit, limit-value)
	return distance <= limit/near && distance > 0
}

// CheckLimit refuses a limit test that the calibration cannot carry; the answer is what is wrong.
func (c *Calibration) CheckLimit(t LimitTest, today time.Time) string {
	where := fmt.Sprintf("%s is set to %s, close to %s %s", t.Channel, Ohms(t.Set), t.LimitName, Ohms(t.Limit))
	if c == nil {
		return where + ", and the rig has no calibration file: the test would show nothing"
	}
	actual, uncertainty, ok := c.Actual(t.Set)
	if !ok {
		return where + ", outside the calibrated points of " + c.File
	}
	margin := actual - t.Limit
	if margin < 0 {
		margin = -margin
	}
	if (actual > t.Limit) != (t.Set > t.Limit) {
		return fmt.Sprintf("%s, but by calibration it is %s, on the other side", where, Ohms(actual))
	}
	if margin < uncertainty {
		return fmt.Sprintf("%s: by calibration %s, a margin of %s, and its uncertainty is %s", where, Ohms(actual), Ohms(margin), Ohms(uncertainty))
	}
	if !c.Due.IsZero() && today.After(c.Due.AddDate(0, 0, 1)) {
		return fmt.Sprintf("%s, and the calibration of %s was due on %s", where, c.Instrument, c.Due.Format(time.DateOnly))
	}
	return ""
}
