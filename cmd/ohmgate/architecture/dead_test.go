package architecture

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// What .ci/dead compares: functions that were found to be dead, and excuses for them.
func TestDeadCodeIsTold(t *testing.T) {
	if _, err := exec.LookPath("bash"); err != nil {
		t.Skip("bash is missing: .ci/dead is not tested here")
	}
	const one = "ohmgate/sim/charge RoadTanker sim/charge/velocity.go:72:6\n"
	const two = "ohmgate/sim/charge Network.Solve sim/charge/solution.go:38:19\n"
	for _, c := range []struct{ found, excuses, said string }{
		{one + two, "sim/charge RoadTanker,Network.Solve reaches its verb later\n", ""},
		{one + two, "# why\n\nsim/charge * reaches its verb later\n", ""},
		{"\n", "# nothing is excused\n", ""},
		{one + two, "sim/charge RoadTanker reaches its verb later\n", "sim/charge/solution.go:38:19: no verb reaches Network.Solve"},
		{one, "sim * reaches its verb later\n", "no verb reaches RoadTanker"},
		{one, "sim/charge RoadTanker,Network.Solve reaches its verb later\n", "ohmgate/sim/charge Network.Solve: is reached, or gone"},
		{"\n", "sim/charge * reaches its verb later\n", "ohmgate/sim/charge *: is reached, or gone"},
		{one, "sim/charge RoadTanker\n", "write a package, names, and why"},
		{one, "sim/charge RoadTanker later\nsim/charge RoadTanker later\n", "stands there twice"},
	} {
		found, excuses := filepath.Join(t.TempDir(), "found"), filepath.Join(t.TempDir(), "excuses")
		for file, text := range map[string]string{found: c.found, excuses: c.excuses} {
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		said, err := exec.Command("bash", filepath.Join(root, ".ci", "dead"), found, excuses).CombinedOutput()
		if (err != nil) != (c.said != "") || !strings.Contains(string(said), c.said) {
			t.Errorf("of %q with %q it said %q (%v), %q was to be said", c.found, c.excuses, said, err, c.said)
		}
	}
}
