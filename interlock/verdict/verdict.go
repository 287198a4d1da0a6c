// Package verdict has the words in which every report judges, which of two
// counts, what the program tells the shell, and how a JSON report begins and ends.
// No other package declares a verdict word or an order of its own.
package verdict

import "fmt"

// Verdict is what a report says of something that was promised. The zero value
// says that nothing was checked: a judgement that was forgotten shows nothing.
type Verdict string

// The verdicts. None of them means "safe".
const (
	Shown          Verdict = "shown"
	NotShown       Verdict = "not shown"       // it could not be decided: cut off, too near to a bound
	NothingChecked Verdict = "nothing checked" // what it is about never came up
	Violated       Verdict = "violated"
)

// Exit is what a verb tells the shell; the numbers are fixed for ever.
type Exit int

// The exit codes.
const (
	ExitShown      Exit = 0
	ExitViolated   Exit = 1
	ExitInput      Exit = 2
	ExitIncomplete Exit = 3
	ExitNothing    Exit = 4
	ExitLost       Exit = 5
	ExitInternal   Exit = 70
)

// Entry is one exit code, and the verdict that ends with it where there is one.
type Entry struct {
	Exit    Exit
	Verdict Verdict // empty: no verdict, something went wrong
	Means   string
}

// order is the only one: of two results the one further down counts.
var order = [...]Entry{
	{ExitShown, Shown, "all shown"},
	{ExitIncomplete, NotShown, "incomplete: cut off, ended early, too near to a bound"},
	{ExitNothing, NothingChecked, "nothing checked"},
	{ExitViolated, Violated, "something was violated"},
	{ExitLost, "", "rig or I/O lost"},
	{ExitInput, "", "the input is wrong"},
	{ExitInternal, "", "internal error"},
}

// Order lists every exit code with its verdict, the mildest first.
func Order() []Entry { return append([]Entry(nil), order[:]...) }

// String is the word.
func (v Verdict) String() string {
	if v == "" {
		return string(NothingChecked)
	}
	return string(v)
}

// MarshalText is the word, as reports have it.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// UnmarshalText takes a verdict's word and nothing else.
func (v *Verdict) UnmarshalText(text []byte) error {
	for _, one := range order {
		if one.Verdict != "" && string(one.Verdict) == string(text) {
			*v = one.Verdict
			return nil
		}
	}
	return fmt.Errorf("%q is no verdict; write shown, violated, not shown or nothing checked", text)
}

// Exit is what the verdict tells the shell. A word that is no verdict is a mistake
// of this program, and never a good end.
func (v Verdict) Exit() Exit {
	for _, one := range order {
		if one.Verdict != "" && one.Verdict == Verdict(v.String()) {
			return one.Exit
		}
	}
	return ExitInternal
}

// Worse is the verdict of two results together.
func Worse(a, b Verdict) Verdict {
	if b.Exit().rank() > a.Exit().rank() {
		return b
	}
	return a
}

// Worst is the verdict of all results together; without any, nothing was checked.
func Worst(list ...Verdict) Verdict {
	return Over(list, func(v *Verdict) Verdict { return *v })
}

// Over is the verdict of a list of results together, as Worst.
func Over[T any](list []T, of func(*T) Verdict) Verdict {
	if len(list) == 0 {
		return NothingChecked
	}
	worst := of(&list[0])
	for i := range list {
		worst = Worse(worst, of(&list[i]))
	}
	return worst
}

// rank is the place in the order; what is not in it counts most.
func (e Exit) rank() int {
	for i := range order {
		if order[i].Exit == e {
			return i
		}
	}
	return len(order)
}

// WorseExit is the code of two results together: 70 > 2 > 5 > 1 > 4 > 3 > 0.
func WorseExit(a, b Exit) Exit {
	if b.rank() > a.rank() {
		return b
	}
	return a
}

// Head opens every JSON report.
type Head[S int | string] struct {
	Schema S      `json:"schema"` // of the report: its name and number, in the oldest the number alone
	Tool   string `json:"tool"`   // version and hash of the program
	Verb   string `json:"verb"`   // what was asked
}
