package site

import "testing"

// good is a small site that uses every key of the grammar but a few; the tests
// of what is refused change one thing in it.
const good = `site: kestrel_siding
title: Kestrel siding
scan: 9..12 ms
poll: 10 ms
channels:
  bond_1:
    title: clamp of car 1
    part: car_1
    measures: clamp-loop
    kind: metal
    accept: 9 Ω
    reject: 10 Ω
    open_above: 1 kΩ
    plausible_floor: 0.05 Ω
    valid_up_to: 2 kΩ
    over_range: open
    device_stamp: yes
    stale_after: 60 ms
    settle: {time: 500 ms, readings: 5, pause: 50 ms}
    patience: {high: 200 ms, open: 0 ms, invalid: 60 ms, missing: 60 ms}
    counting: integrating 4:1
    longest_doubt: 5 s
    aperture: 5 ms
    object_evidence: car_here_1
    leads: {length: 12 m, area: 2.5 mm2, class: 5, measured: 0.21 Ω, at: 20 °C, coldest: -25 °C}
    transmitter: {test_current: 1 mA, output: modbus, both_poles: yes}
    rotations: [1480 /min]
    proof_test: "12 months: known resistors at the jaws"
inputs:
  car_here_1: {use: evidence, stale_after: 60 ms, title: car 1 in place}
  reset_1: {use: button, stale_after: 60 ms}
  start_1: {use: button, stale_after: 60 ms}
  stop_1: {use: switch, inverted: yes, stale_after: 60 ms}
  ack_1: {use: button, stale_after: 60 ms}
  valve_1_closed: {use: switch, stale_after: 60 ms}
  valve_1_open: {use: switch, stale_after: 60 ms}
  flow_1: {use: flow, stale_after: 60 ms}
  key_1: {use: key, stale_after: 60 ms}
outputs:
  valve_1:
    actuator: valve
    permissive: bond_1 AND car_here_1
    on_delay: 200 ms
    restart: on-reset
    reset: reset_1
    start: start_1
    stop: stop_1
    press: 0.1..3 s
    confirm: {closed: valve_1_closed, opened: valve_1_open, travel: 6 s, dead_time: 0.2..0.5 s}
    backup: [pump]
    backup_when: unconfirmed
    output_delay: 10..20 ms
    safe_state: closed
  pump:
    actuator: pump
    permissive: bond_1
    restart: on-reset
    reset: reset_1
vessels:
  car_1:
    wait: 60 s
    rest: 30 s
    acknowledge: ack_1
    capacitance: 500..2000 pF
    leak: 1..1000 GΩ
    ignition: 0.24 mJ
    atmosphere: toluene vapour
    group: IIA
    object: rail_car
    material: metal
    second_path: 0..25 Ω
streams:
  toluene_1:
    kind: liquid
    through: [valve_1, pump]
    charges: [car_1]
    flow: flow_1
    run_down: 1 s
    profile: linear
    profile_time: 6..15 s
    current: 0.6..1.6 uA
    permittivity: 2.38
    conductivity: 0.5..1 pS/m
bypasses:
  bypass_1: {input: key_1, channel: bond_1, for: 8 min, warn: 60 s, gap: 10 s, covers: unreadable, measure: ""}
properties:
  pump_stops: {kind: within, output: pump, when: NOT bond_1, time: 300 ms}
requirement: {function: stop the transfer, time_available: 310 ms}
ignition_sources: {person: footwear}
parts:
  manlid: {of: car_1, bonded_by: fixed and inspected, floats: the lid, capacitance: 15 pF}
rig:
  ports: {line: {device: /dev/ttyUSB0, baud: 19200, frame: 8E1}}
  modules: {relays: {port: line, kind: relays, address: 1, operate_max: 10 ms, commands: {identify: "*IDN?"}}}
  points:
    - {name: car_here_1, module: relays, point: 0, use: drives}
suppress:
  - {finding: R012, at: channels.bond_1, reason: shown elsewhere}
`

func TestGoodFile(t *testing.T) {
	s, problems := Parse("good.yaml", []byte(good))
	if problems != nil {
		t.Fatal(problems)
	}
	if _, problems := s.Logic(); problems != nil {
		t.Fatal(problems)
	}
}
