package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// quarryBays is a small site for tests that look at one thing: two bays with a
// pump for both; of the first, evidence of a car, a stop and a bypass. It is
// verified in a tenth of a second, a demo site in seconds.
const quarryBays = `site: quarry_bays
scan: 20 ms
channels:
  bond_1: {part: car_1, measures: clamp-loop, kind: metal, accept: 9 Ω, reject: 10 Ω, open_above: 1 kΩ, over_range: open, device_stamp: no,
    stale_after: 100 ms, settle: {time: 500 ms, readings: 10}, patience: {high: 200 ms, open: 0 ms, invalid: 100 ms, missing: 100 ms},
    counting: consecutive, longest_doubt: 5 s, object_evidence: car_here_1}
  bond_2: {part: car_2, measures: clamp-loop, kind: metal, accept: 9 Ω, reject: 10 Ω, open_above: 1 kΩ, over_range: open, device_stamp: no,
    stale_after: 100 ms, settle: {time: 500 ms, readings: 10}, patience: {high: 200 ms, open: 0 ms, invalid: 100 ms, missing: 100 ms},
    counting: consecutive, longest_doubt: 5 s}
inputs:
  car_here_1: {use: evidence, stale_after: 200 ms}
  pump_ready: {use: evidence, stale_after: 200 ms}
  reset_1: {use: button, stale_after: 200 ms}
  reset_2: {use: button, stale_after: 200 ms}
  reset_pump: {use: button, stale_after: 200 ms}
  stop_1: {use: button, inverted: yes, stale_after: 200 ms}
  key_1: {use: key, stale_after: 200 ms}
outputs:
  valve_1: {actuator: valve, permissive: bond_1, restart: on-reset, reset: reset_1, stop: stop_1}
  valve_2: {actuator: valve, permissive: bond_2, restart: on-reset, reset: reset_2}
  pump: {actuator: pump, permissive: pump_ready, restart: on-reset, reset: reset_pump}
vessels:
  car_1: {title: a car}
  car_2: {title: another car}
streams:
  toluene_1: {kind: liquid, through: [pump, valve_1], charges: [car_1], longest_stop: 20 s}
  toluene_2: {kind: liquid, through: [pump, valve_2], charges: [car_2], longest_stop: 20 s}
bypasses:
  bypass_1: {title: go on in bay 1 while its instrument is out of order, input: key_1, channel: bond_1, for: 30 s, warn: 10 s, gap: 10 s}
`

// quarrySite is a file with the small site, changed in some texts.
func quarrySite(t *testing.T, changes ...string) string {
	t.Helper()
	text := quarryBays
	for i := 0; i < len(changes); i += 2 {
		require.Contains(t, text, changes[i])
		text = strings.Replace(text, changes[i], changes[i+1], 1)
	}
	file := filepath.Join(t.TempDir(), "quarry_bays.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}
