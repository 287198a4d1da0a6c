package site

import (
	"fmt"
	"strings"
	"testing"

	"ohmgate/interlock"
)

// mark stands in a broken text where the problem must be reported.
const mark = "¦"

// refusal is one change to the good site and what it must lead to.
type refusal struct {
	old, new string // new holds the marks, one for each problem
	text     string // the message, "; " and what to write instead; several by newlines
}

var refusals = map[string][]refusal{
	"keys": {
		{"title: Kestrel siding", "¦titel: Kestrel siding", `unknown key "titel"; write title`},
		{"  bond_1:\n    title: clamp of car 1\n    part: car_1\n    measures: clamp-loop\n    kind: metal\n    accept: 9 Ω", "  ¦bond_1:\n    title: clamp of car 1\n    part: car_1\n    measures: clamp-loop\n    kind: metal\n    ¦acept: 9 Ω", "the key \"accept\" is missing; write accept: 10 Ω\nunknown key \"acept\"; write accept"},
		{"    accept: 9 Ω", "    accept: 9 Ω\n    ¦accept: 8 Ω", `the key "accept" stands here a second time; keep one; the first is in line 11`},
		{"    measures: clamp-loop\n", "", `the key "measures" is missing; write measures: clamp-loop or earth-path`},
		{"title: Kestrel siding", "¦title:", `the key "title" has no value; write one, or delete the key`},
		{"title: Kestrel siding", `title: ¦" "`, "the text is empty; write it, or delete the key"},
		{"settle: {time: 500 ms, readings: 5, pause: 50 ms}", "settle: ¦500 ms", "here stands a single value; wanted: keys and values; write keys and values: time, readings, pause"},
		{"part: car_1\n", "part: ¦[car_1]\n", "here stands a list; wanted: a single value; write one name"},
		{"backup: [pump]", "backup: ¦pump", "here stands a single value; wanted: a list; write a list: [first, second]"},
		{"title: Kestrel siding", "¦Title: Kestrel siding", `unknown key "Title"; write title`},
		{"requirement: {function: stop the transfer,", "requirement: {function: stop, ¦at once,", `unknown key "at once"; put a text with a comma between quotes`},
		{"rest: 30 s", "rest: 30 s\n    ¦colour: red", `unknown key "colour"; use one of title, bonded_by, wait, rest, acknowledge, press, capacitance, lowest_capacitance, leak, ignition, atmosphere, group, object, material, second_path`},
		{"requirement: {function:", "requirement: {¦functoin:", `unknown key "functoin"; write function`},
	},
	"quantities": {
		{"accept: 9 Ω", "accept: ¦9", `9 has no unit, but a resistance is asked for; write 9 Ω, if that was meant (units: uΩ mΩ Ω kΩ MΩ GΩ TΩ, or ohm for Ω)`},
		{"accept: 9 Ω", "accept: ¦9 ms", `"9 ms" is a time, but a resistance is asked for; write a resistance, such as 10 Ω`},
		{"accept: 9 Ω", "accept: ¦9 Oms", `"Oms" is no unit of resistance; use one of uΩ mΩ Ω kΩ MΩ GΩ TΩ, or ohm for Ω`},
		{"accept: 9 Ω", "accept: ¦9 KOHM", `the unit "KOHM" is not spelled so; write 9 kohm`},
		{"accept: 9 Ω", "accept: ¦8,5 Ω", `"8,5 Ω" has a decimal comma; write a point: 8.5`},
		{"accept: 9 Ω", "accept: ¦-9 Ω", `"-9 Ω" is negative; write a value of zero or more`},
		{"accept: 9 Ω", "accept: ¦8..9 Ω", `"8..9 Ω" is an interval, but one value is asked for; write one value, such as 10 Ω`},
		{"accept: 9 Ω", "accept: ¦nine ohms", `"nine ohms" is not a resistance; write a value such as 10 Ω`},
		{"accept: 9 Ω", "accept: ¦.inf", `".inf" is not a resistance; write a value such as 10 Ω`},
		{"accept: 9 Ω", "accept: ¦9.0000001 Ω", `"9.0000001 Ω" is finer than 1 uΩ; write a whole number of uΩ`},
		{"open_above: 1 kΩ", "open_above: ¦1.1 TΩ", `"1.1 TΩ" is above 1 TΩ; write at most 1 TΩ`},
		{"open_above: 1 kΩ", "open_above: ¦1e99 Ω", `"1e99 Ω" is above 1 TΩ; write at most 1 TΩ`},
		{"open_above: 1 kΩ", "open_above: ¦1e999999999 Ω", `"1e999999999 Ω" has too many digits; write a value such as 10 Ω`},
		{"scan: 9..12 ms", "scan: ¦12..9 ms", `the interval "12..9 ms" runs backwards; write the smaller end first`},
		{"scan: 9..12 ms", "scan: ¦9..12", `12 has no unit, but a time is asked for; write 12 ms, if that was meant (units: ns us ms s min h)`},
		{"scan: 9..12 ms", "scan: ¦0 ms..12 ms", `a scan takes no time; write scan: 10 ms`},
		{"run_down: 1 s", "run_down: ¦0.5 ns", `"0.5 ns" is finer than 1 ns; write a whole number of ns`},
		{"wait: 60 s", "wait: ¦3e8 h", `"3e8 h" is longer than any counter of scans; write a shorter time`},
		{"permittivity: 2.38", "permittivity: ¦2.38 F", `"2.38 F" has a unit, but a plain number is asked for; write the number alone, such as 2.4`},
		{"readings: 5", "readings: ¦5 s", `"5 s" is no whole number; write a number from 3 to 1000000`},
		{"readings: 5", "readings: ¦2", `2 is not from 3 to 1000000; write a number from 3 to 1000000`},
		{"leak: 1..1000 GΩ", "leak: ¦1 ms..1000 GΩ", `"1 ms" is a time, but a resistance is asked for; write a resistance, such as 10 Ω`},
		{"device_stamp: yes", "device_stamp: ¦maybe", `"maybe" is neither yes nor no; write yes or no`},
		{"measures: clamp-loop", "measures: ¦clamploop", `"clamploop" is none of clamp-loop, earth-path; write clamp-loop`},
		{"counting: integrating 4:1", "counting: ¦integrating", `"integrating" is not a counting rule: consecutive, or integrating 4:1; write consecutive`},
	},
	"lists": {
		{"rotations: [1480 /min]", "rotations: [1480 /min, ¦1480]", "1480 has no unit, but a rotation speed is asked for; write 1480 /min, if that was meant (units: /min /s rpm)"},
		{"rotations: [1480 /min]", "rotations: [1480 /min, ¦[1480 /min]]", "here stands a list; wanted: a single value; write one value"},
		{"rotations: [1480 /min]", "rotations: [1480 /min" + strings.Repeat(", 1 /min", 63) + ", ¦1 /min]", "more than 64 in this list; shorten it"},
		{"suppress:\n", "suppress:\n  - ¦R012\n", "here stands a single value; wanted: keys and values; write keys and values: finding, at, reason"},
		{"reason: shown elsewhere}", "reason: shown elsewhere}\n  - {finding: ¦r12, reason: x}", `"r12" is not the id of a finding; write R012`},
		{"poll: 10 ms", "poll: ¦10..20 ms", `"10..20 ms" is an interval, but one value is asked for; write one value, such as 200 ms`},
		{"area: 2.5 mm2", "area: ¦2..3 mm2", `"2..3 mm2" is an interval, but one value is asked for; write one value, such as 2.5 mm2`},
		{"scan: 9..12 ms", "scan: ¦9 ms..12.0000001 ms", `"9 ms..12.0000001 ms" is finer than 1 ns; write a whole number of ns`},
		{"    flow: flow_1", "    flow: ¦toluene_1", `"toluene_1" is the name of a stream; write the name of an input`},
		{"    acknowledge: ack_1", "    acknowledge: ¦valve_1", `"valve_1" is the name of an output; write the name of an input`},
	},
	"names": {
		{"  key_1: {use: key", "  key_1: {use: key, stale_after: 60 ms}\n  ¦stop_1: {use: key", "the name \"stop_1\" is taken by the input in line 33; give every thing in the file a name of its own"},
		{"vessels:\n", "vessels:\n  ¦bond_1: {}\n", "the name \"bond_1\" is taken by the channel in line 6; give every thing in the file a name of its own"},
		{"  key_1: {", "  ¦And: {use: key, stale_after: 60 ms}\n  key_1: {", "\"And\" is a word of the expressions, not a name; choose another name, such as and_1"},
		{"  key_1: {", "  ¦2oo3: {use: key, stale_after: 60 ms}\n  key_1: {", "\"2oo3\" is a vote in expressions, not a name; choose another name, such as vote_2oo3"},
		{"  key_1: {", "  ¦Key_1: {use: key, stale_after: 60 ms}\n  key_1: {", "\"Key_1\" is not in small letters; write key_1"},
		{"  key_1: {", "  ¦key-1: {use: key, stale_after: 60 ms}\n  key_1: {", "\"key-1\" is not a name; use small letters, digits and _, a letter first, 40 at most"},
		{"  manlid: {", "  ¦unknown: {", "\"unknown\" is a word of the expressions, not a name; choose another name, such as unknown_1"},
		{"site: kestrel_siding", "site: ¦Kestrel siding", `"Kestrel siding" is not a name; write quarry_road`},
		{"part: car_1\n", "part: ¦car_2\n", "no vessel or part is called \"car_2\"; write car_1, or declare \"car_2\""},
		{"part: car_1\n", "part: manlid\n", "no channel watches \"car_1\"; write part: car_1 in a channel, or bonded_by: here"},
		{"part: car_1\n", "part: ¦pump\n", `"pump" is the name of an output; write the name of a vessel or part`},
		{"object_evidence: car_here_1", "object_evidence: ¦reset_1", `"reset_1" is declared for use as button; name an input with use: evidence or switch`},
		{"    reset: reset_1\n    start: start_1", "    reset: ¦stop_1\n    start: start_1", `"stop_1" is declared for use as switch; name an input with use: button or key`},
		{"    stop: stop_1", "    stop: ¦flow_1", `"flow_1" is declared for use as flow; name an input with use: button or key or switch`},
		{"    acknowledge: ack_1", "    acknowledge: ¦flow_1", `"flow_1" is declared for use as flow; name an input with use: button or key`},
		{"flow: flow_1", "flow: ¦stop_1", `"stop_1" is declared for use as switch; name an input with use: flow`},
		{"{closed: valve_1_closed", "{closed: ¦flow_1", `"flow_1" is declared for use as flow; name an input with use: switch`},
		{"bypass_1: {input: key_1", "bypass_1: {input: ¦flow_1", `"flow_1" is declared for use as flow; name an input with use: button or key`},
		{"backup: [pump]", "backup: [¦pumpe]", `no output is called "pumpe"; write pump, or declare "pumpe"`},
		{"backup: [pump]", "backup: [pump, ¦pump]", `"pump" stands twice in this list; keep one`},
	},
	"times": {
		{"stale_after: 60 ms\n    settle", "stale_after: ¦11 ms\n    settle", "11 ms is shorter than one scan of 12 ms; write 0 s, or 12 ms or more"},
		{"wait: 60 s", "wait: ¦11.999999 ms", "11.999999 ms is shorter than one scan of 12 ms; write 0 s, or 12 ms or more"},
		{"{high: 200 ms", "{high: ¦1 ms", "1 ms is shorter than one scan of 12 ms; write 0 s, or 12 ms or more"},
		{"wait: 60 s", "wait: ¦10738 h", "10738 h is longer than a counter of scans can count; write at most 10737 h"},
		{"stale_after: 60 ms\n    settle", "stale_after: ¦500 ms\n    settle", "stale_after 500 ms is not shorter than the settle time 500 ms: one reading could bond; write less than 500 ms"},
		{"poll: 10 ms", "poll: 55 ms", "stale_after 60 ms is too short for a poll cycle of 55 ms: readings would be missing between two polls; write 72 ms or more"},
		{"longest_doubt: 5 s", "longest_doubt: ¦0 s", "the longest stay in doubtful is zero; write a time; who wants no doubt writes 0 ms under patience"},
		{"poll: 10 ms", "poll: ¦0 ms", "a poll cycle cannot last so long; write the time of one bus cycle, such as 100 ms"},
		{"travel: 6 s", "travel: ¦0 s", "the actuator takes no time to travel; write its longest travel time"},
		{"press: 0.1..3 s", "press: ¦20..50 ms", "no press from 20 ms to 50 ms long could be told apart with scans of 12 ms; write a longer interval, such as 0.1..3 s"},
		{"patience: {high: 200 ms, open: 0 ms, invalid: 60 ms, missing: 60 ms}", "patience: {high: ¦120013 ms, open: 120001 ms, invalid: 110017 ms, missing: 119981 ms}", "the patiences have no common measure that fits 32 bits of scans; round high to 119.952 s, open to 119.952 s, missing to 119.952 s"},
		{"{high: 200 ms, open: 0 ms, invalid: 60 ms, missing: 60 ms}", "{high: ¦120013 ms, open: 119981 ms, invalid: 110017 ms, missing: 0 ms}", "the patiences have no common measure that fits 32 bits of scans; round high to 119.976 s"},
	},
	"thresholds": {
		{"accept: 9 Ω", "accept: ¦10.000001 Ω", "accept 10.000001 Ω is above reject 10 Ω; write 10 Ω or less"},
		{"open_above: 1 kΩ", "open_above: ¦10 Ω", "open_above 10 Ω is not above reject 10 Ω; write more than 10 Ω"},
		{"plausible_floor: 0.05 Ω", "plausible_floor: ¦9.1 Ω", "the floor 9.1 Ω is above accept 9 Ω: nothing could be good; write 9 Ω or less"},
		{"valid_up_to: 2 kΩ", "valid_up_to: ¦10 Ω", "valid_up_to 10 Ω is not above reject 10 Ω; write more than 10 Ω"},
		{"reject: 10 Ω", "reject: ¦10.000001 Ω", "reject 10.000001 Ω is above 10 Ω, the most for kind metal; write 10 Ω or less, or another kind"},
		{"kind: metal\n    accept: 9 Ω\n    reject: 10 Ω\n    open_above: 1 kΩ\n    plausible_floor: 0.05 Ω\n    valid_up_to: 2 kΩ", "kind: dissipative\n    accept: 9 Ω\n    reject: ¦100.1 MΩ\n    open_above: 1 GΩ",
			"reject 100.1 MΩ is above 100 MΩ, the most for kind dissipative; write 100 MΩ or less, or another kind"},
	},
	"expressions": {
		{"permissive: bond_1 AND car_here_1", "permissive: bond_1 AND ¦car_hre_1", `no channel or input is called "car_hre_1"; write car_here_1, or declare "car_hre_1"`},
		{"permissive: bond_1 AND car_here_1", "permissive: ¦bond_9 AND NOT ¦car_9", "no channel or input is called \"bond_9\"; write bond_1, or declare \"bond_9\"\nno channel or input is called \"car_9\"; declare it, or correct the name"},
		{"permissive: bond_1 AND car_here_1", "permissive: bond_1 AND¦", "the expression ends too early; write a term such as bond_1"},
		{"permissive: bond_1 AND car_here_1", "permissive: bond_1 AND ¦| car_here_1", `cannot read '|'; use names, AND, OR, XOR, NOT, 2oo3(a, b, c) and parentheses`},
		{"permissive: bond_1 AND car_here_1", "permissive: 'bond_1 ¦car_here_1'", `unexpected "car_here_1"; join two terms with AND, OR or XOR`},
		{"permissive: bond_1 AND car_here_1", "permissive: >\n      bond_1\n      AND ¦car", `no channel or input is called "car"; declare it, or correct the name`},
		{"permissive: bond_1 AND car_here_1", "permissive: bond_1\n      AND ¦car", `no channel or input is called "car"; declare it, or correct the name`},
		{"permissive: bond_1 AND car_here_1", "permissive: ¦''", "the expression is empty: it would never be true; write a term such as bond_1"},
		{"permissive: bond_1 AND car_here_1", "¦permissive:", "the key \"permissive\" has no value; write one, or delete the key"},
		{"permissive: bond_1 AND car_here_1", "permissive: bond_1 AND ¦valve_1", "\"valve_1\" is the name of an output; write the name of a channel or input"},
		{"permissive: bond_1 AND car_here_1", "permissive: bond_1 AND ¦start_1", "\"start_1\" is declared for use as button, which makes no condition; name an input with use: switch, evidence, flow or key"},
		{"permissive: bond_1 AND car_here_1", "permissive: 1oo2(bond_1, ¦bond_1)", "channel \"bond_1\" votes twice; list different channels that watch the same part"},
		{"permissive: bond_1 AND car_here_1", "permissive: 1oo2(bond_1, ¦car_here_1)", "a vote takes channels only; list channels that watch the same part"},
		{"permissive: bond_1 AND car_here_1", "permissive: 1oo2(bond_1, ¦bond_1 AND bond_1)", "a vote takes channels only; list channels that watch the same part"},
		{"permissive: bond_1 AND car_here_1", "permissive: ¦3oo2(bond_1, bond_1)", "3oo2 can not be met by choice; the first number goes from 1 to the second"},
		{"    wait: 60 s", "    bonded_by: bond_1 OR ¦stop_1\n    wait: 60 s", "\"stop_1\" is the name of an input; write the name of a channel"},
		{"    wait: 60 s", "    bonded_by: ¦NOT bond_1\n    wait: 60 s", "NOT or XOR in bonded_by: a connection that is gone would show a bond; use AND, OR and votes only"},
		{"when: NOT bond_1", "when: NOT ¦bond_2", `no channel or input or output is called "bond_2"; write bond_1, or declare "bond_2"`},
	},
	"outputs": {
		{"    restart: on-reset\n    reset: reset_1\n    start: start_1\n", "    restart: on-reset\n    start: start_1\n", `the key "reset" is missing: it restarts on reset; write reset: a button`},
		{"    restart: on-reset\n    reset: reset_1\nvessels:", "    restart: ¦automatic\n    reason: nobody near\nvessels:", `"pump" restarts by itself, but charges "car_1", which has a wait of 60 s; write restart: on-reset`},
		{"start: start_1", "start: ¦reset_1", "start is the button of the reset: a reset would start it; name another button, or leave start out"},
		{"travel: 6 s, ", "", `the key "travel" is missing; write travel: 200 ms`},
		{"{closed: valve_1_closed, opened: valve_1_open, travel", "¦{travel", "a confirmation without an end switch; name closed: or opened: or both\nthe key \"longest_stop\" is missing: nothing that it flows through confirms the stop; write longest_stop: 20 s"},
		{"opened: valve_1_open", "opened: ¦valve_1_closed", `"valve_1_closed" cannot be both end switches; name two inputs, or leave one out`},
		{"    confirm: {closed: valve_1_closed, opened: valve_1_open, travel: 6 s, dead_time: 0.2..0.5 s}\n    backup: [pump]", "    backup: ¦[pump]", "the backup could never be called: nothing confirms this output; write confirm:, or backup_when: at once\nthe key \"longest_stop\" is missing: nothing that it flows through confirms the stop; write longest_stop: 20 s"},
		{"backup: [pump]", "backup: [¦valve_1]", `"valve_1" and "valve_1" call each other as backups in a circle; leave one call out`},
		{"    permissive: bond_1\n", "    permissive: bond_1\n    backup_when: at once\n    backup: [valve_1]\n", "\"valve_1\" and \"pump\" call each other as backups in a circle; leave one call out\n\"pump\" and \"valve_1\" call each other as backups in a circle; leave one call out"},
	},
	"vessels, streams, bypasses": {
		{"    acknowledge: ack_1\n", "", `the key "acknowledge" is missing: an early reconnection could never be cleared; write acknowledge: a button`},
		{"    rest: 30 s", "    rest: 30 s\n    press: ¦10 ms", "no press from 10 ms to 10 ms long could be told apart with scans of 12 ms; write a longer interval, such as 0.1..3 s"},
		{"through: [valve_1, pump]", "through: ¦[]", "nothing could stop this stream; name the outputs that it flows through"},
		{"charges: [car_1]", "charges: ¦[]", "this stream charges nothing; name the vessels that it charges"},
		{`covers: unreadable, measure: ""`, `covers: lost, measure: ¦""`, "covering a lost channel needs a measure that compensates; write what is done instead, or covers: unreadable"},
		{`covers: unreadable, measure: ""`, "covers: lost", `the key "measure" is missing: covering a lost channel needs one that compensates; write measure: what is done instead`},
		{"for: 8 min", "for: ¦0 s", "the bypass lasts no time; write how long it lasts, such as 8 min"},
		{"warn: 60 s", "warn: ¦8 min", "a warning 8 min before the end of a bypass of 8 min comes before it begins; write a shorter time"},
		{"warn: 60 s", "warn: ¦0 s", "nobody would be warned before the bypass ends; write a time, such as 60 s"},
		{"gap: 10 s", "gap: ¦0 s", "without a gap the bypass could be renewed for ever; write a time, such as 10 s"},
		{"properties:", "  bypass_2: {input: key_1, channel: ¦bond_1, for: 8 min, warn: 60 s, gap: 10 s}\nproperties:", `channel "bond_1" has a bypass already: "bypass_1"; keep one`},
		{", time: 300 ms}", "}", `the key "time" is missing: kind within needs it; write time: 300 ms`},
	},
	"rig": {
		{`{identify: "*IDN?"}`, `{¦Identify: "*IDN?"}`, `"Identify" is not in small letters; write identify`},
		{`{identify: "*IDN?"}`, `¦[identify]`, `here stands a list; wanted: keys and values; write "name: text"`},
		{"points:\n    - {name: car_here_1, module: relays, point: 0, use: drives}", "points: ¦{name: car_here_1, module: relays, point: 0, use: drives}", "here stands keys and values; wanted: a list; write a list: [first, second]"},
		{"name: car_here_1, module", "name: ¦car_1, module", `"car_1" is the name of a vessel; write the name of a channel or input or output`},
		{"address: 1,", "address: ¦248,", "248 is not from 1 to 247; write a number from 1 to 247"},
		{"use: drives}", "use: drives}\n    - {name: stop_1, module: relays, point: ¦0, use: drives}", `point 0 of "relays" is "car_here_1" already: one thing under two names; give each a point of its own`},
		{"port: line", "port: ¦lime", `no port is called "lime"; write line, or declare "lime"`},
		{"frame: 8E1", "frame: ¦8X1", `"8X1" is not a frame; write 8E1`},
		{`{identify: "*IDN?"}`, `{identify: "*IDN?", ¦identify: x}`, `the key "identify" stands here a second time; keep one`},
	},
	"YAML": {
		{"title: Kestrel siding", "title: ¦&a Kestrel siding", "an anchor (&) is not allowed; write the value out"},
		{"title: Kestrel siding", "title: ¦*a", "an alias (*) is not allowed; write the value out"},
		{"title: Kestrel siding", "¦<<: {title: x}", "a merge key (<<) is not allowed; write the keys out"},
		{"title: Kestrel siding", "title: ¦!!str x", "a tag (!) is not allowed; write the value alone"},
		{"title: Kestrel siding", "¦? title\n: x", `an explicit key (?) is not allowed; write "key: value"`},
		{"title: Kestrel siding", "¦---\ntitle: x", "a second document begins; one site a file: delete it, or move it to its own file"},
		{"title: Kestrel siding", "...\n¦title: x", "a second document begins; one site a file: delete it, or move it to its own file"},
		{"title: Kestrel siding", "title: x¦\x00", "control character 0x00; save the file as plain UTF-8 text, lines ended by line feeds"},
		{"title: Kestrel siding", "title: x¦\xff", "not valid UTF-8 text; save the file as plain UTF-8 text, lines ended by line feeds"},
		{"title: Kestrel siding", "title: x¦\r y", "control character 0x0d; save the file as plain UTF-8 text, lines ended by line feeds"},
		{"suppress:\n", "suppress: ¦[\n", "cannot be read as YAML: sequence end token ']' not found; write \"key: value\", one a line, two blanks further in for each level"},
		{"title: Kestrel siding", "title: ¦Kestrel: siding", "cannot be read as YAML: mapping value is not allowed in this context; put a text with a colon between quotes, and indent what belongs to a key"},
	},
}

// broken makes the text of one refusal and the places of its marks.
func (b refusal) broken(t *testing.T) (text string, marks []string) {
	t.Helper()
	if strings.Count(good, b.old) != 1 {
		t.Fatalf("%q stands %d times in the good site", b.old, strings.Count(good, b.old))
	}
	text = strings.Replace(good, b.old, b.new, 1)
	for {
		before, after, found := strings.Cut(text, mark)
		if !found {
			return text, marks
		}
		line := strings.Count(before, "\n") + 1
		column := len([]rune(before[strings.LastIndexByte(before, '\n')+1:])) + 1
		marks = append(marks, fmt.Sprintf("%d:%d", line, column))
		text = before + after
	}
}

func TestRefused(t *testing.T) {
	ran := 0
	for group, list := range refusals {
		for _, b := range list {
			text, marks := b.broken(t)
			_, problems := Parse("site.yaml", []byte(text))
			var told []string
			for _, p := range problems {
				told = append(told, p.Text+"; "+p.Instead)
			}
			if strings.Join(told, "\n") != b.text {
				t.Errorf("%s: %q\n told %v\n want %q", group, b.new, problems, b.text)
			}
			for i, at := range marks {
				if i >= len(problems) || fmt.Sprintf("%d:%d", problems[i].Line, problems[i].Column) != at {
					t.Errorf("%s: %q: problem %d not at %s: %v", group, b.new, i, at, problems)
				}
			}
			ran++
		}
	}
	if ran < 100 {
		t.Fatalf("only %d broken sites were tried", ran)
	}
}

// TestLimits fills the site with as many things as the logic can take, and one
// more.
func TestLimits(t *testing.T) {
	input := "  key_1: {use: key, stale_after: 60 ms}\n"
	tooMany := ""
	for i := range interlock.MaxInputs - 8 {
		tooMany += fmt.Sprintf("  more_%d: {use: key, stale_after: 60 ms}\n", i)
	}
	text := strings.Replace(good, input, input+tooMany, 1)
	_, problems := Parse("site.yaml", []byte(text))
	want := fmt.Sprintf("site.yaml:%d:3: more than 384 of kind input; split the plant into several sites", 39+interlock.MaxInputs-9)
	if len(problems) != 1 || problems[0].Error() != want {
		t.Errorf("told %v, want %s", problems, want)
	}
	lines := strings.SplitAfter(tooMany, "\n")
	text = strings.Replace(good, input, input+strings.Join(lines[1:], ""), 1)
	if _, problems := Parse("site.yaml", []byte(text)); problems != nil {
		t.Errorf("%d inputs: %v", interlock.MaxInputs, problems)
	}
}
