package plot

import (
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/tracetest"
)

func drawn(t *testing.T, file string, bays, scans int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), file)
	if dir := os.Getenv("OHMGATE_PLOTS"); dir != "" { // to look at them
		path = filepath.Join(dir, file)
	}
	w, err := NewWriter(path, tracetest.Config(bays))
	require.NoError(t, err)
	require.NoError(t, w.Begin(tracetest.Header(bays)))
	require.NoError(t, tracetest.Run(bays, scans, w))
	require.NoError(t, w.Close())
	return path
}

func TestSvgHoldsWhatItShould(t *testing.T) {
	data, err := os.ReadFile(drawn(t, "two.svg", 2, 9000))
	require.NoError(t, err)
	text := string(data)
	for _, word := range []string{"<svg", "bond_1", "bond_2", "valve_1", "pump", "car_2", "accept 9 Ω", "reject 10 Ω", "tripped", "reconnected early", "quarry_road: story", "5175e0"} {
		require.Contains(t, text, word)
	}
}

func TestPngIsAPicture(t *testing.T) {
	file, err := os.Open(drawn(t, "eight.png", 8, 30000))
	require.NoError(t, err)
	defer file.Close()
	picture, err := png.Decode(file)
	require.NoError(t, err)
	ink := 0
	for y := picture.Bounds().Min.Y; y < picture.Bounds().Max.Y; y += 3 {
		for x := picture.Bounds().Min.X; x < picture.Bounds().Max.X; x += 3 {
			if r, g, b, _ := picture.At(x, y).RGBA(); r+g+b < 3*0x6000 {
				ink++
			}
		}
	}
	require.Greater(t, ink, 2000, "the picture is all but empty")
}

func TestTheSameRunGivesTheSameBytes(t *testing.T) {
	one, err := os.ReadFile(drawn(t, "same.svg", 2, 5000))
	require.NoError(t, err)
	two, err := os.ReadFile(drawn(t, "same.svg", 2, 5000))
	require.NoError(t, err)
	require.Equal(t, string(one), string(two))
}

// However long the run, the memory is the same, and what lasted one scan is
// still seen.
func TestLongRunsKeepWhatIsShort(t *testing.T) {
	w, err := NewWriter("never.svg", tracetest.Config(1))
	require.NoError(t, err)
	require.NoError(t, w.Begin(tracetest.Header(1)))
	trips := 0
	require.NoError(t, tracetest.Run(1, 100000, trace.Group{w, counting(func(r *trace.Row) {
		for _, e := range r.Decision.Events {
			if e.Kind == interlock.OutputTripped && e.Subject == 0 {
				trips++
			}
		}
	})}))
	require.LessOrEqual(t, len(w.columns), columns)
	require.EqualValues(t, 64, w.each, "100000 scans in at most 1600 columns")
	seen := 0
	for i := 1; i < len(w.columns); i++ {
		if w.columns[i].modes[0] == int8(interlock.Tripped) && w.columns[i-1].modes[0] != int8(interlock.Tripped) {
			seen++
		}
	}
	require.Equal(t, trips, seen)
	require.Positive(t, trips)
}

// counting is a writer that only looks.
type counting func(*trace.Row)

func (counting) Begin(*trace.Header) error  { return nil }
func (c counting) Write(r *trace.Row) error { c(r); return nil }
func (counting) Close() error               { return nil }

func TestNamesThatCannotBeDrawn(t *testing.T) {
	for _, name := range []string{"run.pdf", "run", "run.svg.gz"} {
		_, err := NewWriter(name, nil)
		require.Error(t, err)
		require.True(t, strings.Contains(err.Error(), ".svg"))
	}
}
