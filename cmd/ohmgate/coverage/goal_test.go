package coverage

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/site"
)

// verifiedOf reads a site that is on a bench.
func verifiedOf(t *testing.T, file string) *Verified {
	t.Helper()
	s, problems := site.Read(file)
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	wires, problems := wiring.Read(s)
	require.Nil(t, problems)
	b, err := NewBench(s, logic, wires)
	require.NoError(t, err)
	v, err := b.Verified()
	require.NoError(t, err)
	return v
}

// TestNamesDecideNothing: what parts are called has no part in what a bench can show of them. The names are words that the
// graph uses for what happens.
func TestNamesDecideNothing(t *testing.T) {
	const folder = "../../../testdata/rig"
	text, err := os.ReadFile(filepath.Join(folder, "bench_siding.yaml"))
	require.NoError(t, err)
	rename := strings.NewReplacer("reset_1", "unknown_1", "valve_1_", "start_", "valve_1", "starter", "bond_1", "actuator", "car_1", "acknowledged", "ack_1", "scan")
	coverage := func(text, unwired string) (cannot, gaps []string) {
		file := filepath.Join(t.TempDir(), "site.yaml")
		for _, wire := range []string{"drives", "loopback"} {
			for _, line := range strings.SplitAfter(text, "\n") {
				if strings.Contains(line, "{name: "+unwired+",") && strings.Contains(line, "use: "+wire) {
					text = strings.Replace(text, line, "", 1)
				}
			}
		}
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		calibration, err := os.ReadFile(filepath.Join(folder, "decade_QR-D-11.yaml"))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(file), "decade_QR-D-11.yaml"), calibration, 0o600))
		v := verifiedOf(t, file)
		made := stimulus.Covered(v.Wires, v.Logic, v.Goals, nil, func(stimulus.Goal) string { return "not asked" })
		for _, one := range made.Cannot {
			cannot = append(cannot, one.Text+": "+one.Because)
		}
		for _, one := range made.Gaps {
			gaps = append(gaps, one.Text)
		}
		return cannot, gaps
	}
	for _, unwired := range []string{"", "reset_1", "ack_1", "valve_1_closed"} {
		cannot, gaps := coverage(string(text), unwired)
		cannotToo, gapsToo := coverage(rename.Replace(string(text)), rename.Replace(unwired))
		require.NotEmpty(t, cannot)
		require.NotEmpty(t, gaps)
		require.Len(t, cannotToo, len(cannot), unwired)
		for i := range cannot {
			require.Equal(t, rename.Replace(cannot[i]), cannotToo[i], unwired)
		}
		require.Len(t, gapsToo, len(gaps), unwired)
	}
}
