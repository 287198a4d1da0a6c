package review

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

const cutSection = "\x00cut"

var rightFile = filepath.Join("..", "..", "testdata", "sites", "review", "right.yaml")

// siteWith is the right site after some edits. An edit that finds nothing is a
// mistake of the test.
func siteWith(t testing.TB, edits []edit) *site.Site {
	t.Helper()
	data, err := os.ReadFile(rightFile)
	require.NoError(t, err)
	text := string(data)
	for _, e := range edits {
		from := 0
		if e.thing != "" {
			// A name may be a channel's key and, later, a vessel's: the last key with
			// the text behind it on its own entry counts.
			from = place(text, e)
			require.GreaterOrEqual(t, from, 0, "the right site has no %q behind %q", e.old, e.thing)
		}
		at := strings.Index(text[from:], e.old)
		require.GreaterOrEqual(t, at, 0, "the right site has no %q behind %q", e.old, e.thing)
		at += from
		if e.new == cutSection {
			end := strings.Index(text[at+1:], "\n\n")
			if end < 0 {
				end = len(text) - at - 2
			}
			text = text[:at] + text[at+1+end:]
			continue
		}
		text = text[:at] + e.new + text[at+len(e.old):]
	}
	s, problems := site.Parse("right.yaml", []byte(text))
	require.NoError(t, problems.Err())
	return s
}

// place is where the entry of a thing begins that holds the old text.
func place(text string, e edit) int {
	entry := regexp.MustCompile(`(?m)^  ` + regexp.QuoteMeta(e.thing) + `: \{`)
	next := regexp.MustCompile(`\n(  )?[a-z_0-9]+:`)
	for _, found := range entry.FindAllStringIndex(text, -1) {
		end := len(text)
		if stop := next.FindStringIndex(text[found[1]:]); stop != nil {
			end = found[1] + stop[0]
		}
		if strings.Contains(text[found[0]:end], e.old) {
			return found[0]
		}
	}
	return -1
}

func reviewed(t testing.TB, s *site.Site) *Report {
	t.Helper()
	r, err := Review(s, "test", Must)
	require.NoError(t, err)
	return r
}

func (r *Report) of(id string) (list []Finding) {
	for _, f := range r.Findings {
		if f.ID == id {
			list = append(list, f)
		}
	}
	return list
}

func TestEachRuleTripsAndKeepsQuiet(t *testing.T) {
	quietBase := reviewed(t, siteWith(t, nil))
	tripped := map[string]bool{}
	for _, c := range examples {
		t.Run(c.id+" "+c.path, func(t *testing.T) {
			found := reviewed(t, siteWith(t, c.trips)).of(c.id)
			var paths []string
			for _, f := range found {
				paths = append(paths, f.Path)
			}
			require.Contains(t, paths, c.path)
			tripped[c.id] = true
			quiet := quietBase
			if c.quiet != nil {
				quiet = reviewed(t, siteWith(t, c.quiet))
			}
			require.Empty(t, quiet.of(c.id))
		})
	}
	for _, rule := range Rules() {
		if !tripped[rule.ID] {
			t.Errorf("%s (%s) has no site that trips it", rule.ID, rule.Title)
		}
	}
	require.GreaterOrEqual(t, len(tripped), 40)
}

func TestTheRightSiteIsNotBuried(t *testing.T) {
	r := reviewed(t, siteWith(t, nil))
	require.Zero(t, r.Counts.Must)
	require.Zero(t, r.Counts.Should)
	require.LessOrEqual(t, r.Counts.Note, 5)
	require.Equal(t, verdict.Shown, r.Verdict)
}

func TestRulesAreNumberedAndSourced(t *testing.T) {
	id := regexp.MustCompile(`^R[0-9]{3}$`)
	known := []string{seen, secondHand, fromMemory, unsure, derived, practice}
	taken := map[string]bool{}
	for _, r := range Rules() {
		require.Regexp(t, id, r.ID)
		require.False(t, taken[r.ID], "%s is there twice", r.ID)
		taken[r.ID] = true
		for _, text := range []string{r.Title, r.Why, r.Source, r.Change} {
			require.NotEmpty(t, text, r.ID)
			plain := strings.ReplaceAll(text, "intrinsically safe", "") // the trade's own word
			require.NotRegexp(t, `(?i)\bsafe\b|\bpassed\b`, plain, r.ID)
		}
		require.Contains(t, known, r.Confidence, r.ID)
		require.Contains(t, []Severity{Must, Should, Note}, r.Severity, r.ID)
	}
	require.GreaterOrEqual(t, len(taken), 40)
}

// TestFindingsStandWhereTheFileSaysIt checks line and column against the text.
func TestFindingsStandWhereTheFileSaysIt(t *testing.T) {
	edits := []edit{{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}}
	f := reviewed(t, siteWith(t, edits)).of("R001")
	require.Len(t, f, 1)
	data, err := os.ReadFile(rightFile)
	require.NoError(t, err)
	text := strings.Replace(string(data), "accept: 9 Ω", "accept: 10 Ω", 1)
	line := []rune(strings.Split(text, "\n")[f[0].Line-1])
	require.True(t, strings.HasPrefix(string(line[f[0].Column-1:]), "10 Ω"), string(line[f[0].Column-1:]))
	require.Equal(t, "bond_drum", f[0].Name)
}

func TestSuppressionsAreListedWithTheirReason(t *testing.T) {
	wrong := edit{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}
	const reason = "accepted by the works, for this test"
	for _, at := range []string{"", "channels", bondDrum, bondDrum + ".accept"} {
		r := reviewed(t, siteWith(t, []edit{wrong, accept("R001", at, reason)}))
		require.Empty(t, r.of("R001"), at)
		require.Len(t, r.Suppressed, 1, at)
		require.Equal(t, reason, r.Suppressed[0].Reason)
		require.Equal(t, 1, r.Counts.Suppressed)
	}
	// Names that only begin alike are not meant.
	r := reviewed(t, siteWith(t, []edit{wrong, accept("R001", "channels.bond_dru", reason)}))
	require.Len(t, r.of("R001"), 1)
	require.Len(t, r.of("R210"), 1)
	require.Contains(t, reviewed(t, siteWith(t, []edit{accept("R999", "", reason)})).of("R210")[0].Text, "no such rule")
	// What is said about suppressions can not be suppressed.
	r = reviewed(t, siteWith(t, []edit{accept("R210", "", reason)}))
	require.Len(t, r.of("R210"), 1)
}

func TestFailOn(t *testing.T) {
	must := siteWith(t, []edit{{"bond_bag", "plausible_floor: 10 kΩ, ", ""}})
	should := siteWith(t, []edit{{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}})
	note := siteWith(t, nil)
	for _, c := range []struct {
		s      *site.Site
		failOn Severity
		exit   verdict.Exit
	}{
		{must, Must, 1}, {must, Should, 1}, {must, Note, 1}, {must, Never, 0},
		{should, Must, 0}, {should, Should, 1}, {should, Note, 1}, {should, Never, 0},
		{note, Must, 0}, {note, Should, 0}, {note, Note, 1}, {note, Never, 0},
	} {
		r, err := Review(c.s, "test", c.failOn)
		require.NoError(t, err)
		require.Equal(t, c.exit, r.Exit, c.failOn)
	}
	_, err := Review(note, "test", "bad")
	require.ErrorContains(t, err, "write must, should, note or never")
}

func TestNothingToReview(t *testing.T) {
	s, problems := site.Parse("empty.yaml", []byte("site: empty\nscan: 10 ms\nchannels: {}\noutputs: {}\n"))
	require.NoError(t, problems.Err())
	r := reviewed(t, s)
	require.EqualValues(t, 4, r.Exit)
	require.Equal(t, verdict.NothingChecked, r.Verdict)
}

func TestDemoSitesComeOutWithoutMust(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "sites", "*.yaml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 3)
	for _, file := range files {
		s, problems := site.Read(file)
		require.NoError(t, problems.Err())
		r := reviewed(t, s)
		require.Zero(t, r.Counts.Must, "%s: %v", file, r.Findings)
		require.Empty(t, r.of("R210"), file)
	}
}

func TestTextFitsAndIsGrouped(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "sites", "kestrel_siding.yaml")
	s, problems := site.Read(file)
	require.NoError(t, problems.Err())
	r := reviewed(t, s)
	for _, all := range []bool{false, true} {
		var out bytes.Buffer
		r.WriteText(page.On(&out), all)
		for _, line := range strings.Split(out.String(), "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(line), page.Width, line)
		}
		for _, f := range r.Findings {
			if f.Severity != Note {
				require.Equal(t, 1, strings.Count(out.String(), f.ID+"  "+string(f.Severity)), "each rule is one block")
			}
		}
	}
	var out bytes.Buffer
	WriteRules(page.On(&out))
	for _, line := range strings.Split(out.String(), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(line), page.Width, line)
	}
	for _, rule := range Rules() {
		require.Contains(t, out.String(), rule.ID)
	}
}

// TestReportsFitTheirSchema also runs every site of the project through all
// rules, the ones about which nobody knows anything included.
func TestReportsFitTheirSchema(t *testing.T) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("review.json", doc))
	compiled, err := compiler.Compile("review.json")
	require.NoError(t, err)
	checked := 0
	for _, pattern := range []string{"*.yaml", "*/*.yaml"} {
		files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "sites", pattern))
		require.NoError(t, err)
		for _, file := range files {
			s, problems := site.Read(file)
			if problems != nil {
				continue // the broken ones
			}
			data, err := json.Marshal(reviewed(t, s))
			require.NoError(t, err)
			record, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
			require.NoError(t, err)
			require.NoError(t, compiled.Validate(record), file)
			checked++
		}
	}
	require.GreaterOrEqual(t, checked, 6)
	require.Error(t, compiled.Validate(map[string]any{"schema": Version}), "a schema that takes anything is none")
}

func TestTheSameSiteGivesTheSameBytes(t *testing.T) {
	var first []byte
	for range 3 {
		s, problems := site.Read(filepath.Join("..", "..", "testdata", "sites", "hazel_works.yaml"))
		require.NoError(t, problems.Err())
		r := reviewed(t, s)
		data, err := json.Marshal(r)
		require.NoError(t, err)
		if first == nil {
			first = data
		}
		require.Equal(t, string(first), string(data))
		sorted := slices.IsSortedFunc(r.Findings, func(a, b Finding) int {
			return weight[a.Severity] - weight[b.Severity]
		})
		require.True(t, sorted)
	}
}

// TestPossibleAgreesWithTheTable compares the search with the whole truth table.
func TestPossibleAgreesWithTheTable(t *testing.T) {
	names := []string{"a", "b", "c", "d"}
	find := func(name string) (int, bool) { i := slices.Index(names, name); return i, i >= 0 }
	for _, text := range []string{"a", "NOT a", "a OR NOT a", "a AND NOT a", "a XOR b XOR a XOR b", "a AND (b OR c) AND NOT d", "2oo3(a, b, c) AND NOT a",
		"2oo3(a, b, c) AND NOT a AND NOT b", "(a OR b) AND (NOT a OR b) AND (a OR NOT b) AND (NOT a OR NOT b)", "a XOR b XOR c XOR d"} {
		p, err := interlock.ParsePermissive(text, find)
		require.NoError(t, err)
		for _, want := range []bool{true, false} {
			expected := false
			for bits := range 1 << len(names) {
				value := make([]interlock.Truth, len(names))
				for i := range names {
					value[i] = interlock.False
					if bits>>i&1 == 1 {
						value[i] = interlock.True
					}
				}
				expected = expected || (p.Eval(value) == interlock.True) == want
			}
			can, decided := possible(wish{p, want})
			require.True(t, decided)
			require.Equal(t, expected, can, "%s to %v", text, want)
		}
	}
	can, _ := possible(wish{nil, true})
	require.False(t, can, "an empty permissive is never true")
}

// TestPossibleGivesUp: a formula that no cut helps with is told as undecided.
func TestPossibleGivesUp(t *testing.T) {
	var terms []string
	for i := range 40 {
		terms = append(terms, fmt.Sprintf("x%d", i))
	}
	text := strings.Join(terms, " XOR ")
	p, err := interlock.ParsePermissive("("+text+") AND NOT ("+text+")", func(name string) (int, bool) {
		var n int
		_, err := fmt.Sscanf(name, "x%d", &n)
		return n, err == nil
	})
	require.NoError(t, err)
	can, decided := possible(wish{p, true})
	require.False(t, can)
	require.False(t, decided)
}

// TestLeadFigures checks the table against a worked case (IEC 60228,
// 30 m pair of 2.5 mm² class 5: 0.4788 Ω) and the temperature rule (seen: 254.5
// over 234.5+t from memory, 70 °C 0.83580, 0 °C 1.08529).
func TestLeadFigures(t *testing.T) {
	loop, ok := standardLoop(&site.Leads{Length: site.Span{Lo: 30, Hi: 30, Set: true}, Area: 2.5, Class: 5})
	require.True(t, ok)
	require.InDelta(t, 0.4788, loop, 1e-9)
	require.InDelta(t, 0.83580, at20(1, 70), 5e-6)
	require.InDelta(t, 1.08529, at20(1, 0), 5e-6)
	// C2: the same loop at 70 °C is 0.57287 Ω by the 254.5 rule (from memory).
	require.InDelta(t, 0.57287, loop/at20(1, 70), 1e-4)
	require.Less(t, maxOhmPerKm[50][2], maxOhmPerKm[50][1], "50 mm²: class 5 is below class 2 in the standard")
}

// TestBeatFigures: 1480 turns a minute against 25 readings a second beat with
// 0.333 Hz (practice of the trade: 1.5 s good, 1.5 s bad).
func TestBeatFigures(t *testing.T) {
	const every = 40e6 // ns
	drift, n := beat(1480.0/60, 1, site.Times{Min: every, Max: every})
	require.Equal(t, 1, n)
	require.InDelta(t, 1.0/3, drift, 1e-9)
	require.InDelta(t, 1.5, 1/drift/2, 1e-6)
	// Anything inside the jitter of the scan may stand still for good.
	drift, _ = beat(95, 1, site.Times{Min: 10e6, Max: 11e6})
	require.Zero(t, drift)
	// Slower than the readings nothing beats: the first multiple is far.
	drift, _ = beat(20, 1, site.Times{Min: 10e6, Max: 10e6})
	require.InDelta(t, 80, drift, 1e-9)
	// Between the multiples of 100..125 readings a second the nearer end counts.
	drift, n = beat(155, 1, site.Times{Min: 8e6, Max: 10e6})
	require.InDelta(t, 30, drift, 1e-9)
	require.Equal(t, 1, n)
	drift, n = beat(195, 1, site.Times{Min: 8e6, Max: 10e6})
	require.InDelta(t, 5, drift, 1e-9)
	require.Equal(t, 2, n)
	require.True(t, rejectsMains(20e6) && rejectsMains(100e6) && !rejectsMains(15e6) && !rejectsMains(0))
}
