package judge

import (
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/verdict"
)

// Verdict is that of all steps together.
func Verdict(steps []sheet.Step) verdict.Verdict {
	return verdict.Over(steps, func(s *sheet.Step) verdict.Verdict { return s.Verdict.Verdict() })
}

// Expected is the verdict of all expectations together; where none was judged they take nothing away.
func Expected(list []sheet.Expectation) verdict.Verdict {
	worst := verdict.Shown
	for index := range list {
		if one := list[index].Verdict; one != sheet.NotJudged {
			worst = verdict.Worse(worst, one.Verdict())
		}
	}
	return worst
}
