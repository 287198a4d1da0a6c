package fault

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/model"
)

// oneBay is a clamp, a valve behind it, and the pump that stands in series.
const oneBay = `
site: one_bay
scan: 10 ms
channels:
  bond_1: {part: car_1, measures: clamp-loop, kind: metal, accept: 9 Ω, reject: 10 Ω, open_above: 1 kΩ, plausible_floor: 50 mΩ, over_range: open,
    device_stamp: yes, stale_after: 60 ms, settle: {time: 500 ms, readings: 5, pause: 50 ms},
    patience: {high: 190 ms, open: 0 ms, invalid: 50 ms, missing: 50 ms}, counting: consecutive, longest_doubt: 5 s, object_evidence: car_here_1,
    leads: {measured: 0.2 Ω, at: 20 °C}}
inputs:
  car_here_1: {use: evidence, stale_after: 60 ms}
  reset_1: {use: button, stale_after: 60 ms}
  ack_1: {use: button, stale_after: 60 ms}
  closed_1: {use: switch, stale_after: 60 ms}
  opened_1: {use: switch, stale_after: 60 ms}
  reset_pump: {use: button, stale_after: 60 ms}
outputs:
  valve_1: {actuator: valve, permissive: bond_1, restart: on-reset, reset: reset_1, press: 0.1..3 s,
    confirm: {closed: closed_1, opened: opened_1, travel: 6 s}, backup: [pump], backup_when: unconfirmed}
  pump: {actuator: pump, permissive: bond_1, restart: on-reset, reset: reset_pump, press: 0.1..3 s}
vessels:
  car_1: {wait: 10 s, rest: 5 s, acknowledge: ack_1}
streams:
  product_1: {kind: liquid, through: [valve_1, pump], charges: [car_1], run_down: 1 s}
`

// bay is that site with each text of a pair replaced by the other.
func bay(t testing.TB, pairs ...string) *model.Model {
	t.Helper()
	text := oneBay
	for i := 0; i < len(pairs); i += 2 {
		require.Equal(t, 1, strings.Count(text, pairs[i]), pairs[i])
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	s, problems := site.Parse("one_bay.yaml", []byte(text))
	require.Nil(t, problems, "%v", problems)
	m, err := model.FromSite(s)
	require.NoError(t, err)
	return m
}
