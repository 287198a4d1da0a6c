package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// recordedBus is a real recording of a 16-output module at 19200 8E1; source: the sigrok project's public example captures.
// It is used where it lies and is not part of this project.
const recordedBus = "../../../shared/data/modbus-rtu-16-outputs.csv"

func TestDecodeARealRecording(t *testing.T) {
	if _, err := os.Stat(recordedBus); err != nil {
		t.Skip("the recording ../shared/data/modbus-rtu-16-outputs.csv is not there")
	}
	text, code := rigSays(t, "--decode", recordedBus)
	require.Equal(t, exitShown, code, text)
	fits(t, text)
	for _, wanted := range []string{
		"235 bytes, 19200 baud, master asks", "31.179 ms unit 1 01 read coils 3: 1", "0F write coils 2 to 1: done",
		"all 15 4.46..6.19 2.21..2.27", "every question has its answer",
	} {
		require.Contains(t, strings.Join(strings.Fields(text), " "), wanted)
	}
}

// decodeTalk is the heading of a small recording.
const decodeTalk = `start_us,end_us,line,byte
`

// talkRows is a talk as rows at 19200 8E1, leaving out the first so many bytes.
func talkRows(skip int, frames ...string) string {
	rows, at := decodeTalk, int64(10_000_000)
	for i, frame := range frames {
		line := []string{"pc", "module"}[i%2]
		at += 3_000_000
		for _, value := range strings.Fields(frame) {
			if skip--; skip < 0 {
				rows += strings.Join([]string{micro(at + 52_083), micro(at + 468_750), line, value}, ",") + "\n"
			}
			at += 572_917
		}
	}
	return rows
}

func micro(ns int64) string {
	text, _ := json.Marshal(float64(ns) / 1000)
	return string(text)
}

func TestDecodeVerdicts(t *testing.T) {
	const question, answer, wrong = "11 03 00 6B 00 03 76 87", "11 03 06 02 2B 00 00 00 64 C8 BA", "11 03 06 02 2B 00 00 00 65 C8 BA"
	for name, c := range map[string]struct {
		text string
		code exitCode
		said string
	}{
		"whole":              {talkRows(0, question, answer, question, answer), exitShown, "unit 17 03 read holding registers 107..109: 555 0 100"},
		"cut at both ends":   {strings.TrimSuffix(talkRows(3, question, answer, question, answer, question), "\n"), exitShown, "cut off where the recording begins"},
		"wrong check sum":    {talkRows(0, question, answer, question, wrong, question, answer), exitViolated, "check sum BAC8 where"},
		"no answer":          {talkRows(0, question, "", question, answer), exitViolated, "no answer"},
		"nothing known":      {talkRows(0, "11 44 01 02"), exitNothing, "nothing checked"},
		"no unit of time":    {"start,end,byte\n1,2,03\n", exitInput, "start_s, start_ms"},
		"another file":       {"# Title\n\nSome text, and more.\n", exitInput, `no column "start"`},
		"a broken VCD":       {"$timescale 1 fortnight $end\n", exitInput, "time scale"},
		"above a byte":       {"start_us,end_us,byte\n1,2,300\n3,4,5\n", exitInput, "above 255"},
		"many bytes a row":   {"start_us,end_us,byte\n1,2,01 03 00\n", exitInput, "one byte a row"},
		"speed is not known": {"start_us,byte\n1,03\n", exitInput, "--line"},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "bus")
			require.NoError(t, os.WriteFile(file, []byte(c.text), 0o600))
			text, code := rigSays(t, "--decode", file)
			require.Equal(t, c.code, code, text)
			require.Contains(t, strings.Join(strings.Fields(text), " "), c.said)
			if code != exitInput {
				said, again := rigSays(t, "--decode", file, "--json")
				require.Equal(t, code, again)
				var made struct {
					Buses []busTalk `json:"buses"`
					Exit  int       `json:"exit"`
				}
				require.NoError(t, json.Unmarshal([]byte(said), &made))
				require.Equal(t, int(code), made.Exit)
				require.NotContains(t, said, "Least", "names as everywhere else, times in milliseconds")
				require.Equal(t, "all", made.Buses[0].Timing[len(made.Buses[0].Timing)-1].Function)
			}
		})
	}
	text, code := rigSays(t, "--decode", "x", benchSite)
	require.Equal(t, exitInput, code)
	require.Contains(t, text, "plays nothing")
}
