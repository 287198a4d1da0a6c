package judge

import "ohmgate/hwio/sheet"

// Exit codes of the program, as far as a rig gives them.
const (
	ExitShown      = 0
	ExitViolated   = 1
	ExitInput      = 2
	ExitIncomplete = 3
	ExitNothing    = 4
	ExitLost       = 5
	ExitInternal   = 70
)

// exitRank orders them for mixed results: 70 > 2 > 5 > 1 > 4 > 3 > 0.
var exitRank = map[int]int{ExitShown: 0, ExitIncomplete: 1, ExitNothing: 2, ExitViolated: 3, ExitLost: 4, ExitInput: 5, ExitInternal: 6}

// WorseExit is the code that counts for both.
func WorseExit(a, b int) int {
	if exitRank[b] > exitRank[a] {
		return b
	}
	return a
}

// Verdict is the word for all steps together.
func Verdict(steps []sheet.Step) string {
	verdict := sheet.NothingChecked
	for index := range steps {
		switch steps[index].Verdict {
		case sheet.Violated:
			return sheet.Violated
		case sheet.CannotTell:
			verdict = sheet.NotShown
		case sheet.Consistent:
			if verdict == sheet.NothingChecked {
				verdict = sheet.Shown
			}
		}
	}
	return verdict
}

// Expected is the word for all expectations together; where none was judged they take nothing away.
func Expected(list []sheet.Expectation) string {
	verdict := sheet.Shown
	for index := range list {
		if one := list[index].Verdict; one != sheet.NotJudged {
			verdict = WorseVerdict(verdict, one)
		}
	}
	return verdict
}

// ExitOf is the code of a verdict.
func ExitOf(verdict string) int {
	switch verdict {
	case sheet.Shown:
		return ExitShown
	case sheet.Violated:
		return ExitViolated
	case sheet.NothingChecked:
		return ExitNothing
	}
	return ExitIncomplete
}

// WorseVerdict is the word that the codes rank higher.
func WorseVerdict(a, b string) string {
	if exitRank[ExitOf(b)] > exitRank[ExitOf(a)] {
		return b
	}
	return a
}
