package graph

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// lacking says what is missing of one kind of transition in its entry.
func lacking(k interlock.Kind, m *model.Model) (list []string) {
	entry := &kinds[k]
	say := func(missing bool, text string) {
		if missing {
			list = append(list, fmt.Sprintf("interlock event %d (%q) %s", k, k, text))
		}
	}
	if entry.none != "" {
		return nil
	}
	if entry.group == NoGroup {
		say(true, "is neither a transition nor said to be none: give it an entry in the table of kinds, with a group, or with why it is none")
		return list
	}
	say(entry.tells == nil, "has nothing that names its transitions when a run is watched: tells")
	say(entry.tells != nil && entry.group != OfChannel && !told(k, m), "is not told by the observer when it happens: tells")
	say(entry.needs == nil, "does not say what must change at the terminals of a unit for it: needs")
	say(entry.text == "" && k.String() == "", "has no text")
	return list
}

// told says that an observer names an event of this kind by itself.
func told(k interlock.Kind, m *model.Model) bool {
	o, d := NewObserver(m), interlock.NewDecision(m.Config)
	d.Events = append(d.Events, interlock.Event{Kind: k, Reasons: interlock.ReasonStop, Spoil: interlock.TooShort, Unconfirmed: interlock.StayedOpen})
	o.scan(interlock.NewInputs(m.Config), interlock.NewState(m.Config), d)
	for t := range o.Seen() {
		if t.Kind == k {
			return true
		}
	}
	return false
}

// demoSites have between them all that the logic can tell.
var demoSites = []string{"rig/bench_siding", "sites/kestrel_siding", "sites/hazel_works", "sites/amber_line"}

// What the logic can tell is a transition, with all that belongs to it, or the table
// says why it is none.
func TestEveryKindIsComplete(t *testing.T) {
	m := graphModel(t, demoSites[0])
	for k := range interlock.Kind(interlock.Kinds) {
		for _, text := range lacking(k, m) {
			t.Error(text)
		}
	}
}

// The builder adds every kind where a site can do it, and every word is there.
func TestEveryKindIsInAGraph(t *testing.T) {
	found := map[interlock.Kind]bool{}
	for _, file := range demoSites {
		m, g := demoGraph(t, file)
		for _, one := range g.Transitions {
			found[one.Kind] = true
			if text := one.Text(m); strings.Contains(text, "()") || strings.HasSuffix(text, ": ") || strings.HasSuffix(text, "-> ") {
				t.Errorf("%s: a word is missing in %q: the table of words", file, text)
			}
		}
	}
	for k := range kinds {
		if kinds[k].none == "" && !found[interlock.Kind(k)] {
			t.Errorf("interlock event %d (%q) is in the graph of none of the demo sites: let the builder add it, and give a site that can do it", k, interlock.Kind(k))
		}
	}
}

// An event that somebody adds to the logic, and to nothing else, is missed in words.
func TestAnEventThatIsAddedIsMissed(t *testing.T) {
	if testing.Short() || os.Getenv(planted) != "" {
		t.Skip("builds the package again")
	}
	const file, last = "../../event.go", "\tBypassIgnored\n"
	text, err := os.ReadFile(file)
	if err != nil || strings.Count(string(text), last) != 1 {
		t.Fatalf("%s: the last event is not %q (%v)", file, last, err)
	}
	folder := t.TempDir()
	path, err := filepath.Abs(file)
	if err != nil {
		t.Fatal(err)
	}
	changed, overlay := filepath.Join(folder, "event.go"), filepath.Join(folder, "overlay.json")
	for name, text := range map[string]string{
		changed: strings.Replace(string(text), last, last+"\tSurprised\n", 1),
		overlay: fmt.Sprintf(`{"Replace": {%q: %q}}`, path, changed),
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	again := exec.Command("go", "test", "-overlay", overlay, "-run", "TestEveryKindIsComplete", ".")
	again.Env = append(os.Environ(), planted+"=1")
	said, err := again.CombinedOutput()
	if err == nil || !strings.Contains(string(said), "is neither a transition nor said to be none") || strings.Count(string(said), "interlock event") != 1 {
		t.Errorf("an event was added to the logic alone; said was %v:\n%s", err, said)
	}
}

// planted tells the test that it tests itself with an event planted.
const planted = "OHMGATE_PLANTED_EVENT"

// Half an entry is missed by the half that is not there.
func TestHalfAnEntryIsMissed(t *testing.T) {
	m := graphModel(t, demoSites[0])
	whole := kinds[interlock.WaitOver]
	defer func() { kinds[interlock.WaitOver] = whole }()
	for missed, half := range map[string]kind{
		": tells":     {group: whole.group, needs: whole.needs},
		"told by the": {group: whole.group, needs: whole.needs, tells: (*Observer).stepped},
		": needs":     {group: whole.group, tells: whole.tells},
		"neither":     {tells: whole.tells, needs: whole.needs},
	} {
		kinds[interlock.WaitOver] = half
		if list := lacking(interlock.WaitOver, m); len(list) != 1 || !strings.Contains(list[0], missed) {
			t.Errorf("without %s: said was %q", missed, list)
		}
	}
}
