package interlock

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// letters finds a…z as causes 0…25.
func letters(name string) (int, bool) {
	if len(name) == 1 && name[0] >= 'a' && name[0] <= 'z' {
		return int(name[0] - 'a'), true
	}
	return 0, false
}

func parse(t testing.TB, text string) Permissive {
	t.Helper()
	p, err := ParsePermissive(text, letters)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return p
}

var truths = [3]Truth{False, Unknown, True}

// eachValue calls f with every assignment of n causes.
func eachValue(n int, f func([]Truth)) {
	value := make([]Truth, n)
	var fill func(int)
	fill = func(i int) {
		if i == n {
			f(value)
			return
		}
		for _, v := range truths {
			value[i] = v
			fill(i + 1)
		}
	}
	fill(0)
}

// completions is the truth that two-valued logic gives when the unknown causes
// are filled in in every way: unknown exactly when they do not agree.
func completions(p Permissive, value []Truth) Truth {
	always, never := true, true
	eachValue(len(value), func(filled []Truth) {
		for i, v := range filled {
			if v == Unknown || value[i] != Unknown && v != value[i] {
				return
			}
		}
		if twoValued(p, len(p)-1, filled) {
			never = false
		} else {
			always = false
		}
	})
	switch {
	case always:
		return True
	case never:
		return False
	}
	return Unknown
}

// twoValued is ordinary boolean logic, by counting.
func twoValued(p Permissive, at int, value []Truth) bool {
	n := p[at]
	if n.Op == OpCause {
		return value[n.Cause] == True
	}
	count := 0
	for _, arg := range n.Args {
		if twoValued(p, arg, value) {
			count++
		}
	}
	switch n.Op {
	case OpNot:
		return count == 0
	case OpAnd:
		return count == len(n.Args)
	case OpOr:
		return count > 0
	case OpXor:
		return count == 1
	case OpVote:
		return count >= n.M
	}
	panic("unknown operation")
}

// Every single operation is unknown exactly when the unknown causes decide.
func TestSingleOperationsAgainstAllCompletions(t *testing.T) {
	texts := []string{"a", "NOT a", "a AND b", "a OR b", "a XOR b", "a AND b AND c", "a OR b OR c", "a XOR b XOR c"}
	names := strings.Split("a b c d e", " ")
	for n := 1; n <= 5; n++ {
		for m := 1; m <= n; m++ {
			texts = append(texts, fmt.Sprintf("%doo%d(%s)", m, n, strings.Join(names[:n], ", ")))
		}
	}
	for _, text := range texts {
		p := parse(t, text)
		ran := 0
		eachValue(5, func(value []Truth) {
			ran++
			if got, want := p.Eval(value), completions(p, value); got != want {
				t.Errorf("%s at %v: %v, every completion says %v", text, value, got, want)
			}
		})
		if ran != 243 {
			t.Fatalf("%s: %d assignments tried", text, ran)
		}
	}
}

// The truth tables of Kleene's strong logic, written out: rows and columns are
// false, unknown, true (S. C. Kleene, Introduction to Metamathematics, 1952,
// section 64; from memory).
func TestKleeneTables(t *testing.T) {
	for text, table := range map[string]string{
		"a AND b": "FFF FUU FUT",
		"a OR b":  "FUT UUT TTT",
		"a XOR b": "FUT UUU TUF",
	} {
		p, got := parse(t, text), ""
		for i, a := range truths {
			if i > 0 {
				got += " "
			}
			for _, b := range truths {
				got += strings.ToUpper(p.Eval([]Truth{a, b}).String()[:1])
			}
		}
		if got != table {
			t.Errorf("%s: %s, want %s", text, got, table)
		}
	}
	if p := parse(t, "NOT a"); p.Eval([]Truth{False}) != True || p.Eval([]Truth{Unknown}) != Unknown || p.Eval([]Truth{True}) != False {
		t.Error("NOT")
	}
}

// expressions draws any expression over a…e.
func expressions() *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string { return expression(t, 3) })
}

func expression(t *rapid.T, depth int) string {
	kinds := 6
	if depth == 0 {
		kinds = 1
	}
	sub := func() string { return expression(t, depth-1) }
	switch rapid.IntRange(0, kinds-1).Draw(t, "kind") {
	case 0:
		return rapid.SampledFrom([]string{"a", "b", "c", "d", "e"}).Draw(t, "name")
	case 1:
		return "NOT " + "(" + sub() + ")"
	case 2:
		return "(" + sub() + " AND " + sub() + ")"
	case 3:
		return "(" + sub() + " OR " + sub() + " OR " + sub() + ")"
	case 4:
		return "(" + sub() + " XOR " + sub() + ")"
	}
	m := rapid.IntRange(1, 3).Draw(t, "m")
	return fmt.Sprintf("%doo3(%s, %s, %s)", m, sub(), sub(), sub())
}

// Learning what was unknown never turns one definite answer into the other, and
// taking knowledge away never makes anything true: unknown never helps. And a
// definite answer is one that every completion gives.
func TestUnknownNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := expressions().Draw(t, "text")
		p, err := ParsePermissive(text, letters)
		if err != nil {
			t.Fatal(err)
		}
		value := rapid.SliceOfN(rapid.SampledFrom(truths[:]), 5, 5).Draw(t, "value")
		whole := p.Eval(value)
		if whole != Unknown && whole != completions(p, value) {
			t.Fatalf("%s at %v: %v, completions disagree", text, value, whole)
		}
		less := append([]Truth(nil), value...)
		less[rapid.IntRange(0, 4).Draw(t, "hidden")] = Unknown
		if hidden := p.Eval(less); hidden != Unknown && hidden != whole {
			t.Fatalf("%s: %v at %v, but %v with less known", text, whole, value, hidden)
		}
	})
}

// Without NOT and XOR a cause that gets worse never helps.
func TestMonotoneWithoutInversion(t *testing.T) {
	p := parse(t, "(a AND b) OR 2oo3(b, c, d AND e)")
	if p.inverts() || !parse(t, "NOT a").inverts() || !parse(t, "a XOR b").inverts() {
		t.Fatal("inverts is wrong")
	}
	eachValue(5, func(value []Truth) {
		before := p.Eval(value)
		for i := range value {
			if value[i] == False {
				continue
			}
			value[i]--
			if p.Eval(value) > before {
				t.Errorf("worse cause %d at %v helps", i, value)
			}
			value[i]++
		}
	})
}

// Setting every culprit right makes AND, OR and votes true; and whatever is no
// culprit of a plain AND does not keep it from being true.
func TestCulprits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := expressions().Draw(t, "text")
		if strings.Contains(text, "XOR") || strings.Contains(text, "NOT") {
			t.Skip()
		}
		p, _ := ParsePermissive(text, letters)
		value := rapid.SliceOfN(rapid.SampledFrom(truths[:]), 5, 5).Draw(t, "value")
		var set CauseSet
		p.Culprits(value, &set)
		if p.Eval(value) == True && set != (CauseSet{}) {
			t.Fatalf("%s is true at %v but has culprits", text, value)
		}
		fixed := append([]Truth(nil), value...)
		set.Each(func(cause int) {
			if value[cause] == True {
				t.Fatalf("%s at %v: cause %d is true and named as a culprit", text, value, cause)
			}
			fixed[cause] = True
		})
		if p.Eval(fixed) != True {
			t.Fatalf("%s at %v: setting the culprits right gives %v", text, value, p.Eval(fixed))
		}
	})
}

func TestCulpritsOfEveryOperation(t *testing.T) {
	cases := []struct {
		text, value, want string // values of a, b, c as F U T; culprits as letters
	}{
		{"a AND b", "TFT", "b"}, {"a AND b", "UFT", "ab"}, {"a AND b", "TTF", ""},
		{"a OR b", "FUT", "ab"}, {"a OR b", "FTT", ""},
		{"2oo3(a, b, c)", "TFU", "bc"}, {"2oo3(a, b, c)", "TTF", ""},
		{"NOT a", "TTT", "a"}, {"NOT a", "UTT", "a"}, {"NOT a", "FTT", ""},
		{"NOT (a OR b)", "TFT", "a"}, {"NOT (a OR b)", "UTT", "ab"}, {"NOT (a AND b)", "TTT", "ab"},
		{"a XOR b", "TTT", "ab"}, {"a XOR b", "FFT", "ab"}, {"a XOR b", "UTT", "a"}, {"a XOR b", "UUT", "ab"}, {"a XOR b", "TFT", ""},
		{"NOT (a XOR b)", "TFT", "ab"}, {"(NOT a) XOR b", "FTT", "ab"}, {"a AND NOT b", "TTT", "b"},
	}
	for _, k := range cases {
		var value []Truth
		for _, r := range k.value {
			value = append(value, map[rune]Truth{'F': False, 'U': Unknown, 'T': True}[r])
		}
		var set CauseSet
		parse(t, k.text).Culprits(value, &set)
		got := ""
		set.Each(func(cause int) { got += string(rune('a' + cause)) })
		if got != k.want {
			t.Errorf("%s at %s: culprits %q, want %q", k.text, k.value, got, k.want)
		}
	}
	var none CauseSet
	Permissive(nil).Culprits(nil, &none)
	if none.Len() != 0 || Permissive(nil).Eval(nil) != Unknown {
		t.Error("the empty permissive")
	}
	if (Permissive{{Op: 99}}).Eval(nil) != Unknown {
		t.Error("an undeclared operation is not unknown")
	}
}

// shape writes a permissive with every parenthesis.
func shape(p Permissive, at int) string {
	n := p[at]
	var args []string
	for _, arg := range n.Args {
		args = append(args, shape(p, arg))
	}
	switch n.Op {
	case OpCause:
		return string(rune('a' + n.Cause))
	case OpNot:
		return "!" + args[0]
	case OpVote:
		return fmt.Sprintf("%d(%s)", n.M, strings.Join(args, ","))
	}
	return "(" + strings.Join(args, map[Op]string{OpAnd: "&", OpOr: "|", OpXor: "^"}[n.Op]) + ")"
}

// Precedence and keywords of IEC 61131-3 Structured Text, strongest first: NOT,
// AND, XOR, OR; keywords in any case (IEC 61131-3:2013 table 71 and 6.1.2; from
// memory).
func TestPrecedence(t *testing.T) {
	for text, want := range map[string]string{
		"a":                       "a",
		"a OR b AND c":            "(a|(b&c))",
		"a AND b OR c":            "((a&b)|c)",
		"a XOR b AND c":           "(a^(b&c))",
		"a OR b XOR c":            "(a|(b^c))",
		"a XOR b OR c XOR d":      "((a^b)|(c^d))",
		"NOT a AND b":             "(!a&b)",
		"NOT NOT a":               "!!a",
		"NOT (a OR b)":            "!(a|b)",
		"a XOR b XOR c":           "((a^b)^c)",
		"a & b and c And d":       "(a&b&c&d)",
		"a or b":                  "(a|b)",
		"not a xor b":             "(!a^b)",
		"2oo3(a, b, c)":           "2(a,b,c)",
		"1OO2(a OR b, NOT c)":     "1((a|b),!c)",
		"2Oo2(a,1oo2(b,c))":       "2(a,1(b,c))",
		" \t(\na\r) ":             "a",
		"((a))AND(b)":             "(a&b)",
		"a AND (b AND c) AND d":   "(a&(b&c)&d)",
		"2oo3(a,b,c) AND d OR e":  "((2(a,b,c)&d)|e)",
		"a OR NOT b AND c XOR d ": "(a|((!b&c)^d))",
	} {
		p := parse(t, text)
		if got := shape(p, len(p)-1); got != want {
			t.Errorf("%q reads as %s, want %s", text, got, want)
		}
	}
}

func TestSyntaxErrors(t *testing.T) {
	deep := strings.Repeat("(", maxDepth+1) + "a" + strings.Repeat(")", maxDepth+1)
	long := "a" + strings.Repeat(" AND a", maxNodes)
	chain := "a" + strings.Repeat(" XOR a", maxDepth)
	cases := []struct {
		text   string
		column int
		want   string
	}{
		{"", 1, "ends too early"}, {"   ", 1, "ends too early"},
		{"a AND", 6, "ends too early"}, {"NOT", 4, "ends too early"}, {"(", 2, "ends too early"},
		{"a b", 3, `unexpected "b"`}, {"a)", 2, `unexpected ")"`}, {"a, b", 2, `unexpected ","`}, {"(a) b", 5, "unexpected"},
		{"(a", 3, `expected ")"`}, {"AND a", 1, `missing before "AND"`}, {"a OR OR b", 6, `missing before "OR"`},
		{"()", 2, `missing before ")"`}, {"a AND , b", 7, `missing before ","`}, {"& a", 1, `missing before "&"`}, {"a xor xor b", 7, `missing before "xor"`},
		{"a AND zz", 7, `no channel or input is called "zz"`}, {"A", 1, `called "A"`},
		{"a + b", 3, "cannot read '+'"}, {"a AND µ", 7, "cannot read 'µ'"}, {"ä", 1, "cannot read"}, {"a AND 'b'", 7, `cannot read '\''`},
		{"2oo3(a, b)", 1, "2oo3 lists 2 terms"}, {"2oo3 a", 6, `expected "("`}, {"2oo3(a, b, c", 13, `expected ")"`}, {"2oo3()", 6, `missing before ")"`},
		{"0oo2(a, b)", 1, "can not be met by choice"}, {"3oo2(a, b)", 1, "can not be met by choice"}, {"a AND 2oo3(a, b)", 7, "lists 2 terms"},
		{"2oo99999999(a)", 1, "no channel or input"},
		{deep, maxDepth + 1, "nested too deeply"}, {strings.Repeat("NOT ", maxDepth) + "a", 4*maxDepth + 1, "nested too deeply"},
		{long, 6*(maxNodes) + 1, "too long"}, {chain, 6*maxDepth - 3, "too many terms joined by XOR"},
	}
	for _, k := range cases {
		_, err := ParsePermissive(k.text, letters)
		syntax, ok := err.(*SyntaxError)
		if !ok {
			t.Errorf("%.40q: %v", k.text, err)
			continue
		}
		if syntax.Column != k.column || !strings.Contains(syntax.Text, k.want) || syntax.Instead == "" {
			t.Errorf("%.40q: %v, want column %d: %s", k.text, err, k.column, k.want)
		}
		if !strings.HasPrefix(err.Error(), fmt.Sprintf("column %d: ", k.column)) {
			t.Errorf("%.40q: %q does not begin with its place", k.text, err)
		}
	}
	parse(t, strings.Repeat("(", maxDepth-1)+"a"+strings.Repeat(")", maxDepth-1)) // the deepest one that is read
	parse(t, "a"+strings.Repeat(" XOR a", maxDepth-1))
}

// Columns count characters, and every node carries its own.
func TestColumns(t *testing.T) {
	p := parse(t, "a AND (b OR NOT c)")
	want := map[string]int{"a": 1, "b": 8, "c": 17}
	for i, n := range p {
		if n.Op == OpCause && n.Column != want[string(rune('a'+n.Cause))] {
			t.Errorf("node %d stands at %d", i, n.Column)
		}
		if n.Op == OpNot && n.Column != 13 {
			t.Errorf("NOT stands at %d", n.Column)
		}
	}
	causes := p.Causes()
	if causes.Len() != 3 || !causes.Has(2) || causes.Has(3) {
		t.Errorf("causes %v", causes)
	}
}

// Whatever text comes in, the parser answers: an error with a place in the
// text, or a permissive that Compile would take.
func FuzzParsePermissive(f *testing.F) {
	for _, seed := range []string{"a", "a AND b", "2oo3(a,b,c)", "NOT (a XOR b) OR c", "((", "9oo", "a AND\x00", "\xff", "2oo3(a,b", strings.Repeat("NOT ", 70)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ParsePermissive(text, letters)
		if err != nil {
			syntax := err.(*SyntaxError)
			if syntax.Column < 1 || syntax.Column > len([]rune(text))+1 || p != nil {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if len(p) == 0 || !p.below(26) {
			t.Fatalf("%q gives a permissive that is not whole", text)
		}
		value := make([]Truth, 26)
		if unknown := p.Eval(value); unknown != Unknown {
			t.Fatalf("%q is %v although nothing is known", text, unknown)
		}
		again := parse(t, text)
		if shape(again, len(again)-1) != shape(p, len(p)-1) {
			t.Fatalf("%q reads in two ways", text)
		}
	})
}
