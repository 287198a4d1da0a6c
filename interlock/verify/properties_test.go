package verify

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify/model"
)

// lacks names what an entry of the table of properties lacks, in words.
func lacks(p *Property, semantics string) (list []string) {
	say := func(missing bool, what string) {
		if missing {
			list = append(list, what)
		}
	}
	say(p.Title == "", "words for the reader (Title)")
	say(len(p.Assumes) == 0, "what it rests on and who checks that (Assumes)")
	say(p.Needs.has != nil && (p.Needs.What == "" || p.Needs.Without == ""), "words for what it needs (Needs)")
	say(p.Stated == "" || !strings.Contains(semantics, "\n## "+p.Stated+"\n"), "a heading of SEMANTICS.md (Stated)")
	say(p.judge == nil, "a judge (judge)")
	say((p.observe == nil) == (p.unseen == ""), "an observer, or why no scan alone shows its breach (observe, unseen)")
	say(p.Joint.judge == nil && p.Joint.search == nil, "an answer of --joint (Joint)")
	say(len(p.Emitted.In) == 0 && p.Emitted.Why == "", "the printed models that state it, or why none does (Emitted)")
	say(len(p.Mutants) == 0, "a mutant that it must catch (Mutants)")
	for _, name := range p.Mutants {
		known := false
		for _, m := range Mutants() {
			known = known || m.Name == name
		}
		say(!known, "the mutant "+name)
	}
	return list
}

func semantics(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../SEMANTICS.md")
	require.NoError(t, err)
	return string(text)
}

// Every entry of the table has all that the verbs read from it, numbered without a
// gap, so that people can count.
func TestEveryPropertyIsWhole(t *testing.T) {
	rests := map[string]bool{}
	for i := range properties {
		p := &properties[i]
		require.Equal(t, model.Property(i+1), p.Number)
		require.Empty(t, lacks(p, semantics(t)), "property %s", p.Number)
		for _, counter := range p.counters {
			rests[counter] = true
		}
	}
	for _, counter := range []string{counterOnDelay, counterTravel, counterPress, counterDoubt, counterInput, counterBypass, counterWait, counterRest, counterAcknowledge, counterFlow, counterRunDown} {
		require.True(t, rests[counter], "no property rests on the counter %s", counter)
	}
}

// A property that is half written is told, half by half; one that nothing in the
// self-check breaks leaves no verdict shown.
func TestHalfAPropertyIsTold(t *testing.T) {
	half := Property{Number: 16, Title: "a throw-away property", Mutants: []string{"no such mistake"}}
	require.Equal(t, []string{
		"what it rests on and who checks that (Assumes)", "a heading of SEMANTICS.md (Stated)", "a judge (judge)",
		"an observer, or why no scan alone shows its breach (observe, unseen)", "an answer of --joint (Joint)",
		"the printed models that state it, or why none does (Emitted)", "the mutant no such mistake",
	}, lacks(&half, semantics(t)))
	whole := properties[1]
	whole.Number = 16
	require.Empty(t, lacks(&whole, semantics(t)))

	r := &SelfReport{Unchanged: Shown, Mutants: []Caught{{Caught: true}}, ByProperty: map[string][]string{}}
	for _, p := range properties {
		r.ByProperty[p.Number.String()] = p.Mutants
	}
	require.Equal(t, Shown, r.Verdict())
	r.ByProperty["5"] = r.ByProperty["5"][:1]
	require.Equal(t, Violated, r.Verdict(), "a mutant that is planted for it went uncaught")
	delete(r.ByProperty, "5")
	require.NotEqual(t, Shown, r.Verdict())
}
