package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/sheet"
)

// program is the program in a process of its own, behind a line of the shell.
func program(t *testing.T, before string, args ...string) *exec.Cmd {
	command := exec.Command("/bin/sh", "-c", before+` exec "$0"`, os.Args[0])
	command.Env = append(asProgram(args...), "TMPDIR="+t.TempDir())
	return command
}

// TestOutputThatNobodyReads: a pipe that is closed would kill a program at its next word, with relays closed.
func TestOutputThatNobodyReads(t *testing.T) {
	t.Parallel()
	record := filepath.Join(t.TempDir(), "record")
	read, write, err := os.Pipe()
	require.NoError(t, err)
	require.NoError(t, read.Close())
	command := program(t, "", "rig", "--twin", benchSite, benchPulled, "--edges", "16", "--record", record)
	command.Stdout, command.Stderr = write, write
	err = command.Run()
	require.NoError(t, write.Close())
	require.True(t, command.ProcessState.Exited(), "killed: %v", err)
	text, err := os.ReadFile(record)
	require.NoError(t, err)
	report := sheet.Check(record, text)
	require.Empty(t, report.Problems)
	require.Zero(t, report.Unended())
	require.Equal(t, sheet.StateOpen, report.Sheets[0].State())
}

// TestFileThatMayNotGrow: the limit comes as a signal, which would end the program too.
func TestFileThatMayNotGrow(t *testing.T) {
	t.Parallel()
	record := filepath.Join(t.TempDir(), "record")
	command := program(t, "ulimit -f 7;", "rig", "--twin", benchSite, benchPulled, "--edges", "16", "--record", record)
	said, _ := command.CombinedOutput()
	require.Equal(t, int(exitLost), command.ProcessState.ExitCode(), "%s", said)
	require.Contains(t, string(said), "all relays open, read back")
	text, err := os.ReadFile(record)
	require.NoError(t, err)
	require.LessOrEqual(t, len(text), 7*1024, "the shell's unit is 512 or 1024 bytes")
	report := sheet.Check(record, text)
	require.Empty(t, report.Problems, "what is there checks")
	require.Zero(t, report.BrokenOff, "half a line was taken back")
	text2, code := rigSays(t, "--check", record)
	require.Equal(t, exitIncomplete, code, text2)
}

// TestStandInWithAMeter: the clamp's resistance comes from a bench meter, read beside the scan.
func TestStandInWithAMeter(t *testing.T) {
	text, err := os.ReadFile(standInSite)
	require.NoError(t, err)
	withMeter := strings.NewReplacer(
		"aperture: 5 ms", "aperture: 0.001 ms", // no instrument is that quick
		"wait: 1500 ms", "wait: 300 ms", "rest: 500 ms", "rest: 200 ms", "stale_after: 400 ms", "stale_after: 200 ms",
		"transmitter: {port: bus, kind: resistance, address: 3, turnaround: 2 ms,", "meter: {port: meter_line, kind: scpi-meter,",
		"module: transmitter, point: 0, use: reads, unit: 1 mΩ", "module: meter, point: 0, use: reads",
		"  modules:\n", "    meter_line: {device: /dev/nowhere, baud: 115200, frame: 8N1}\n  modules:\n",
	).Replace(string(text))
	siteFile, story := filepath.Join(t.TempDir(), "meter.yaml"), filepath.Join(t.TempDir(), "story.yaml")
	require.NoError(t, os.WriteFile(story, []byte(shortStory), 0o600))
	require.NoError(t, os.WriteFile(siteFile, []byte(withMeter), 0o600))
	said, code := rigSays(t, "--twin", "--stand-in", siteFile, story)
	require.Equal(t, exitInput, code)
	require.Contains(t, strings.Join(strings.Fields(said), " "), "does not count its measurements")

	require.NoError(t, os.WriteFile(siteFile, []byte(strings.Replace(withMeter, "device_stamp: yes", "device_stamp: no", 1)), 0o600))
	said, code = onTwin(t, "--stand-in", siteFile, story, "--json")
	require.Equal(t, exitShown, code, said)
	var made rigReport
	require.NoError(t, json.Unmarshal([]byte(said), &made))
	require.Len(t, made.Report.Runs[0].Steps, 2)
	require.Contains(t, strings.Join(made.Report.Runs[0].Heard, " "), "a reading of bond_1 took up to")
}
