package sim

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/sim/trace"
)

// digest hashes everything that a run handed to the logic and everything that
// was true, bit by bit.
type digest struct{ to io.Writer }

func (d digest) Begin(*trace.Header) error { return nil }
func (d digest) Close() error              { return nil }
func (d digest) Write(r *trace.Row) error {
	for _, reading := range r.In.Readings {
		if err := binary.Write(d.to, binary.LittleEndian, reading); err != nil {
			return err
		}
	}
	for _, part := range []any{r.In.Signals, r.Decision.Coils, r.Truth.Ohms, r.Truth.Flowing} {
		if err := binary.Write(d.to, binary.LittleEndian, part); err != nil {
			return err
		}
	}
	return nil
}

// printReports plays scenarios and prints a line for each: the hash of its
// report and the hash of every scan of it.
func printReports(t *testing.T, w io.Writer, only string) {
	files := scenarioFiles(t)
	var names []string
	for file := range files {
		if strings.Contains(file, only) {
			names = append(names, file)
		}
	}
	sort.Strings(names)
	for _, file := range names {
		s := readSite(t, files[file])
		sc, problems := ReadScenario(file, s)
		require.Nil(t, problems)
		scans := sha256.New()
		buffered := bufio.NewWriter(scans)
		result, err := Run(s, sc, Options{Recorders: []trace.Writer{digest{buffered}}})
		require.NoError(t, err)
		require.NoError(t, buffered.Flush())
		fmt.Fprintf(w, "report %s %x %x\n", filepath.Base(file), sha256.Sum256([]byte(reportText(t, result))), scans.Sum(nil))
	}
}

// everyFault is one run with every fault of the physics at work at once.
const everyFault = `
scenario: every_fault
begin: running
seed: 77
lasts: 20 s
faults:
  - {at: 1 s, fault: corrosion, on: bond, from: 0.3 Ω, to: 5 Ω, over: 7 s}
  - {at: 1 s, fault: film, on: bond, film: 3 Ω, breaks_after: 300 ms, heals_after: 400 ms}
  - {at: 1 s, fault: chatter, on: bond, open: 2 Ω}
  - {at: 1 s, fault: vibration, on: bond, peak: 3 Ω, every: 700 ms}
  - {at: 1 s, fault: rotation, on: bond, speed: 1477 /min, share: 7 %, open: 2 Ω}
  - {at: 1 s, fault: lead_temperature, on: bond, to: 71 °C, over: 3 s}
  - {at: 1 s, fault: leak_path, on: bond, leak: 700 Ω}
  - {at: 1 s, fault: mains_pickup, on: bond, amplitude: 1.3 mV, frequency: 49.7 Hz}
  - {at: 1 s, fault: stray_dc, on: bond, voltage: 0.7 mV}
  - {at: 1 s, fault: noise, on: bond, deviation: 333 mΩ}
  - {at: 1 s, fault: fast_bursts, on: bond, amplitude: 7 Ω}
  - {at: 1 s, fault: drift, on: bond, by: 1.7 Ω, over: 11 s}
  - {at: 9 s, fault: shorted_leads, on: bond, along: 37 %, until: 11 s}
  - {at: 12 s, fault: lost_samples, on: bond, share: 13 %}
  - {at: 13 s, fault: repeated_samples, on: bond}
`

// TestPrintReports is the other half of TestSameBytesOnArm64: it prints the
// hashes when it is asked to.
func TestPrintReports(t *testing.T) {
	if os.Getenv("OHMGATE_PRINT_REPORTS") == "" {
		t.Skip("only for TestSameBytesOnArm64")
	}
	printReports(t, os.Stdout, os.Getenv("OHMGATE_PRINT_REPORTS"))
	s := small(t)
	sc, problems := ParseScenario("every_fault.yaml", []byte(everyFault), s)
	require.Nil(t, problems)
	scans := sha256.New()
	result, err := Run(s, sc, Options{Recorders: []trace.Writer{digest{scans}}})
	require.NoError(t, err)
	fmt.Printf("report every_fault %x %x\n", sha256.Sum256([]byte(reportText(t, result))), scans.Sum(nil))
	fmt.Printf("report physics %x\n", rawPhysics(t, s, sc))
	for i, x := range normals().tail {
		require.False(t, x <= 0, "quantile %d", i)
	}
	fmt.Printf("report quantiles %x\n", sha256.Sum256(fmt.Appendf(nil, "%b %b", normals().body, normals().tail)))
}

// rawPhysics hashes the physics before any rounding to an integer, where a
// single fused operation shows.
func rawPhysics(t *testing.T, s *site.Site, sc *Scenario) []byte {
	logic, problems := s.Logic()
	require.Nil(t, problems)
	p := NewPlant(s, logic, 5, 2000)
	p.schedule(sc, 0, newNames(s))
	p.plan(0, Deed{}, func(p *Plant, _ uint64) { p.channels[0].attached = onPart })
	p.start()
	in, hash, c := interlock.NewInputs(logic), sha256.New(), &p.channels[0]
	for scan := range uint64(2000) {
		_, err := p.Next(scan, 0, in)
		require.NoError(t, err)
		loop, real := c.connection(scan)
		ohms, _ := c.disturbance(scan)
		values := []float64{loop, real, c.wire(scan, loop), ohms, c.noise.Normal(scan), c.slow}
		require.NoError(t, binary.Write(hash, binary.LittleEndian, values))
	}
	return hash.Sum(nil)
}

// TestSameBytesOnArm64 builds this package's tests for arm64, runs them under
// Debian's qemu-user and compares every reading, every truth and every report.
// On arm64 the compiler fuses multiplications and additions where it may.
func TestSameBytesOnArm64(t *testing.T) {
	if runtime.GOARCH != "amd64" || runtime.GOOS != "linux" {
		t.Skip("compares amd64 with arm64, on Linux")
	}
	if _, err := exec.LookPath("qemu-aarch64"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("qemu-aarch64 is not installed (Debian package qemu-user)")
		}
		t.Skip("qemu-aarch64 is not installed (Debian package qemu-user)")
	}
	if testing.Short() {
		t.Skip("builds for another processor")
	}
	t.Parallel()
	binary := filepath.Join(t.TempDir(), "sim_arm64.test")
	build := exec.Command("go", "test", "-c", "-o", binary, ".")
	build.Env = append(os.Environ(), "GOARCH=arm64", "CGO_ENABLED=0", "GOFLAGS=")
	output, err := build.CombinedOutput()
	require.NoError(t, err, "%s", output)
	native, err := os.Executable()
	require.NoError(t, err)
	there := reportLines(t, "qemu-aarch64", binary)
	here := reportLines(t, native)
	require.Greater(t, len(here), 6, "hardly anything was compared")
	require.Equal(t, here, there)
}

// reportLines runs a test binary of this package and keeps its hashes.
func reportLines(t *testing.T, command ...string) []string {
	t.Helper()
	run := exec.Command(command[0], append(command[1:], "-test.run=^TestPrintReports$", "-test.v")...)
	run.Env = append(os.Environ(), "OHMGATE_PRINT_REPORTS=practice/a2")
	output, err := run.CombinedOutput()
	require.NoError(t, err, "%s", output)
	var lines []string
	for _, line := range strings.Split(string(output), "\n") {
		if strings.HasPrefix(line, "report ") {
			lines = append(lines, line)
		}
	}
	return lines
}
