package review

// edit changes the first place of old behind the key "  thing:" of the right
// site; an empty thing means the whole file.
type edit struct{ thing, old, new string }

// example is a site that trips a rule at a path, and one that nearly does. Both
// are the right site with small edits; no quiet edits mean the right site itself.
type example struct {
	id    string
	path  string
	trips []edit
	quiet []edit
}

const bondDrum = "channels.bond_drum"

var dropLeads = edit{"bond_drum", "leads: {length: 8 m, area: 2.5 mm2, class: 5, measured: 0.12 Ω, at: 20 °C, coldest: 0 °C},", ""}

func leads(text string) edit {
	return edit{"bond_drum", "leads: {length: 8 m, area: 2.5 mm2, class: 5, measured: 0.12 Ω, at: 20 °C, coldest: 0 °C}", "leads: {" + text + "}"}
}

func permissive(output, text string) edit {
	old := "bond_drum AND path_drum AND bond_cart AND path_cart"
	if output == "slide" || output == "screw" {
		old = "bond_bag AND path_bag"
	}
	return edit{output, "permissive: " + old, "permissive: " + text}
}

// strong is a current that no interlock can be in time for.
var strong = edit{"drum_filling", "current: 1..20 nA", "current: 100 uA"}

// uncertain is one that decides.
var uncertain = edit{"drum_filling", "current: 1..20 nA", "current: 0.001..100 uA"}

const noConfirmLance = "confirm: {closed: lance_shut, opened: lance_open, travel: 2 s, dead_time: 50..100 ms},\n    backup: [pump]"

var examples = []example{
	{"R001", bondDrum + ".accept", []edit{{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}}, []edit{{"bond_drum", "accept: 9 Ω", "accept: 9.9 Ω"}}},
	{"R002", bondDrum + ".accept", []edit{{"bond_drum", "accept: 9 Ω", "accept: 9.96 Ω"}}, []edit{{"bond_drum", "accept: 9 Ω", "accept: 9.95 Ω"}}},
	{"R003", "channels.bond_bag.reject", []edit{{"bond_bag", "uncertainty: 10 MΩ", "uncertainty: 21 MΩ"}}, []edit{{"bond_bag", "uncertainty: 10 MΩ", "uncertainty: 20 MΩ"}}},
	{"R004", "channels.bond_bag.reject", []edit{{"bag_filling", "current: 0.1..1 nA", "current: 100 uA"}}, nil},
	{"R005", "channels.bond_bag.reject", []edit{{"bag_filling", "current: 0.1..1 nA", "current: 0.0001..3 uA"}}, nil},
	{"R006", bondDrum + ".over_range", []edit{{"bond_drum", "over_range: open", "over_range: invalid"}}, nil},
	{"R007", "channels.bond_bag.over_range", []edit{{"bond_bag", "over_range: open", "over_range: invalid"}}, []edit{{"bond_drum", "over_range: open", "over_range: invalid"}}},
	{"R008", bondDrum + ".valid_up_to", []edit{{"bond_drum", "valid_up_to: 2 kΩ", "valid_up_to: 999 Ω"}}, []edit{{"bond_drum", "valid_up_to: 2 kΩ", "valid_up_to: 1 kΩ"}}},
	{"R009", bondDrum, []edit{{"bond_drum", "valid_up_to: 2 kΩ, ", ""}}, nil},

	{"R010", bondDrum + ".leads", []edit{leads("measured: 9.1 Ω")}, []edit{leads("measured: 9 Ω")}},
	{"R011", bondDrum + ".leads", []edit{leads("measured: 0.91 Ω")}, []edit{leads("measured: 0.9 Ω")}},
	// 16 m of 7.98 Ω/km are 0.1277 Ω; 0.1 Ω more are allowed.
	{"R012", bondDrum + ".leads.measured", []edit{leads("length: 8 m, area: 2.5 mm2, class: 5, measured: 0.229 Ω, at: 20 °C, coldest: 0 °C")},
		[]edit{leads("length: 8 m, area: 2.5 mm2, class: 5, measured: 0.227 Ω, at: 20 °C, coldest: 0 °C")}},
	// 16 m of copper of 2.5 mm² are 0.11034 Ω; four fifths are 0.0883 Ω.
	{"R013", bondDrum + ".leads.measured", []edit{leads("length: 8 m, area: 2.5 mm2, class: 5, measured: 0.088 Ω, at: 20 °C, coldest: 0 °C")},
		[]edit{leads("length: 8 m, area: 2.5 mm2, class: 5, measured: 0.089 Ω, at: 20 °C, coldest: 0 °C")}},
	// 0.12 Ω at 20 °C are 0.0983 Ω at -26 °C.
	{"R014", bondDrum + ".plausible_floor", []edit{{"bond_drum", "coldest: 0 °C", "coldest: -26 °C"}}, []edit{{"bond_drum", "coldest: 0 °C", "coldest: -8 °C"}}},
	{"R015", bondDrum, []edit{{"bond_drum", "plausible_floor: 0.106 Ω, ", ""}, {"bond_drum", ",\n    proof_test: \"12 months: open, short at the jaws, 8.9 Ω, 10.1 Ω, wrong object\"", ""}},
		[]edit{{"bond_drum", "plausible_floor: 0.106 Ω, ", ""}}},
	{"R016", bondDrum + ".plausible_floor", []edit{{"bond_drum", "plausible_floor: 0.106 Ω, ", "plausible_floor: 0.1 Ω, "}}, nil},
	{"R017", bondDrum, []edit{dropLeads}, []edit{leads("length: 8 m, area: 2.5 mm2, class: 5")}},

	{"R020", "channels.bond_bag", []edit{{"bond_bag", "hanging_free: 2 GΩ, ", ""}}, nil},
	{"R021", "channels.bond_bag.hanging_free", []edit{{"bond_bag", "hanging_free: 2 GΩ", "hanging_free: 799 MΩ"}}, []edit{{"bond_bag", "hanging_free: 2 GΩ", "hanging_free: 800 MΩ"}}},
	{"R022", "channels.bond_bag", []edit{{"bond_bag", "plausible_floor: 10 kΩ, ", ""}}, []edit{{"bond_drum", "plausible_floor: 0.106 Ω, ", ""}}},
	{"R023", "channels.bond_bag", []edit{{"bond_bag", "hanging_humidity: 60 %, ", ""}}, nil},
	{"R024", "channels.bond_bag.settle.time", []edit{{"bond_bag", "response_time: 300 ms", "response_time: 2.1 s"}}, []edit{{"bond_bag", "response_time: 300 ms", "response_time: 2 s"}}},
	{"R025", "vessels.bag.ignition", []edit{{"bag", "ignition: 0.14 mJ", "ignition: 0.13 mJ"}}, nil},
	{"R025", "streams.bag_filling", []edit{{"bag_filling", "current: 0.1..1 nA", "current: 3.1 uA"}}, []edit{{"bag_filling", "current: 0.1..1 nA", "current: 3 uA"}}},

	// A reading every 10..11 ms is 91..100 a second: 5700 turns a minute are 95.
	{"R030", bondDrum + ".rotations", []edit{{"bond_drum", "aperture: 20 ms", "aperture: 5 ms"}, {"bond_drum", "1200 /min", "5700 /min"}},
		[]edit{{"bond_drum", "1200 /min", "5700 /min"}}}, // 20 ms span more than a turn
	{"R031", bondDrum + ".rotations", []edit{{"bond_drum", "aperture: 20 ms", "aperture: 5 ms"}, {"bond_drum", "1200 /min", "2850 /min"}},
		[]edit{{"bond_drum", "aperture: 20 ms", "aperture: 5 ms"}, {"bond_drum", "1200 /min", "1600 /min"}}},
	{"R032", bondDrum, []edit{{"bond_drum", "rotations: [1200 /min],", ""}}, nil},
	{"R033", bondDrum + ".transmitter", []edit{{"bond_drum", "both_poles: yes", "both_poles: no"}}, []edit{{"bond_bag", "both_poles: yes", "both_poles: no"}}},
	{"R034", bondDrum + ".aperture", []edit{{"bond_drum", "aperture: 20 ms", "aperture: 15 ms"}}, []edit{{"bond_drum", "aperture: 20 ms", "aperture: 40 ms"}}},
	{"R035", bondDrum + ".leads.length", []edit{{"bond_drum", "length: 8 m", "length: 10 m"}}, []edit{{"bond_drum", "length: 8 m", "length: 9.9 m"}}},
	{"R036", bondDrum + ".device_stamp", []edit{{"bond_drum", "output: modbus", "output: 4-20 mA"}},
		[]edit{{"bond_drum", "output: modbus", "output: 4-20 mA"}, {"bond_drum", "device_stamp: yes", "device_stamp: no"}}},
	{"R037", bondDrum, []edit{{"bond_drum", "uncertainty: 0.05 Ω, ", ""}}, nil},

	{"R040", bondDrum + ".patience.open", []edit{{"bond_drum", "open: 0 ms", "open: 60 ms"}}, []edit{{"bond_drum", "open: 0 ms", "open: 40 ms"}}},
	{"R041", bondDrum + ".patience.missing", []edit{{"bond_drum", "stale_after: 40 ms", "stale_after: 11 ms"}, {"bond_drum", "missing: 40 ms", "missing: 0 ms"}}, nil},
	{"R041", bondDrum + ".patience.invalid", []edit{{"bond_drum", "invalid: 40 ms", "invalid: 0 ms"}}, nil},
	{"R042", bondDrum + ".longest_doubt", []edit{{"bond_drum", "longest_doubt: 5 s", "longest_doubt: 90 ms"}}, []edit{{"bond_drum", "longest_doubt: 5 s", "longest_doubt: 100 ms"}}},
	{"R043", bondDrum + ".counting", []edit{{"bond_drum", "integrating 4:1", "integrating 2:1"}}, []edit{{"bond_drum", "integrating 4:1", "integrating 3:1"}}},
	{"R044", bondDrum + ".counting", []edit{{"bond_drum", "integrating 4:1", "consecutive"}}, nil},
	{"R045", bondDrum + ".settle.pause", []edit{{"bond_drum", "pause: 50 ms", "pause: 0 s"}}, []edit{{"bond_drum", "pause: 50 ms", "pause: 11 ms"}}},
	{"R046", bondDrum + ".settle.readings", []edit{{"bond_drum", "readings: 10", "readings: 47"}}, []edit{{"bond_drum", "readings: 10", "readings: 46"}}},
	{"R047", "poll", nil, []edit{{"", "scan: 10..11 ms", "scan: 10 ms"}}},
	{"R048", "scan", []edit{{"", "scan: 10..11 ms", "scan: 10 ms"}}, nil},
	{"R049", "vessels.drum", []edit{strong, {"bond_drum", "open: 0 ms", "open: 40 ms"}}, []edit{strong}},
	{"R050", "vessels.drum", []edit{uncertain}, nil},

	// 20 ms aperture, 11 ms poll, 11 ms scan, 20 ms contact and 50 ms dead time of
	// the pump are 112 ms; 310 nC ignite 200 pF of toluene vapour.
	{"R051", "vessels.drum", []edit{{"drum_filling", "current: 1..20 nA", "current: 2.8 uA"}}, []edit{{"drum_filling", "current: 1..20 nA", "current: 2.7 uA"}}},

	{"R060", bondDrum, []edit{{"bond_drum", "object_evidence: drum_here, ", ""}}, nil},
	{"R061", "channels.path_drum", []edit{{"path_drum", "object_evidence: drum_here, ", ""}}, nil},
	{"R062", bondDrum + ".measures", []edit{{"path_drum", "measures: earth-path", "measures: clamp-loop"}}, nil},
	{"R063", "channels.path_drum.measures", []edit{{"bond_drum", "measures: clamp-loop", "measures: earth-path"}, {"drum", "object: drum", "object: rail_car"}},
		[]edit{{"drum", "object: drum", "object: rail_car"}}},
	{"R064", "channels.bond_cart.object_evidence", []edit{{"bond_cart", "object_evidence: cart_docked", "object_evidence: drum_here"}}, nil},
	{"R065", bondDrum + ".device_stamp", []edit{{"bond_drum", "device_stamp: yes", "device_stamp: no"}}, nil},
	{"R066", bondDrum, []edit{{"bond_drum", ",\n    proof_test: \"12 months: open, short at the jaws, 8.9 Ω, 10.1 Ω, wrong object\"", ""}}, nil},
	{"R067", bondDrum + ".proof_test", []edit{{"bond_drum", "12 months: open, short at the jaws, 8.9 Ω, 10.1 Ω, wrong object", "12 months"}}, nil},
	{"R068", "inputs.drum_here.inverted", []edit{{"drum_here", "use: evidence", "use: evidence, inverted: yes"}}, nil},
	{"R069", "inputs.flow", []edit{{"flow", "inverted: yes, ", ""}}, nil},

	{"R070", "streams.drum_filling.charges", []edit{permissive("lance", "bond_cart AND path_cart"), permissive("pump", "bond_cart AND path_cart")}, nil},
	// An OR with the other vessel's channel looks gated and is not.
	{"R070", "streams.drum_filling.charges", []edit{permissive("lance", "(bond_drum AND path_drum) OR bond_cart"), permissive("pump", "(bond_drum AND path_drum) OR bond_cart")},
		[]edit{permissive("lance", "NOT (NOT bond_drum OR NOT path_drum) AND bond_cart AND path_cart")}},
	{"R071", "outputs.pump.permissive", []edit{permissive("pump", "bond_cart AND path_cart"), {"lance", "backup: [pump], backup_when: at once, ", ""}},
		[]edit{permissive("pump", "bond_cart AND path_cart")}}, // the lance calls the pump
	{"R072", "channels.path_bag", []edit{permissive("slide", "bond_bag"), permissive("screw", "bond_bag")}, []edit{permissive("screw", "bond_bag")}},
	{"R073", "outputs.horn.permissive", []edit{horn("fan", "drum_here")}, []edit{horn("contact", "drum_here")}},
	{"R074", "outputs.horn", []edit{horn("fan", "bond_drum")}, []edit{horn("contact", "bond_drum")}},
	{"R075", "outputs.lance.permissive", []edit{permissive("lance", "bond_drum OR NOT bond_drum")}, []edit{permissive("lance", "bond_drum OR NOT path_drum")}},
	{"R076", "outputs.lance.permissive", []edit{permissive("lance", "bond_drum AND NOT bond_drum")}, []edit{permissive("lance", "bond_drum AND NOT path_drum")}},
	{"R077", "outputs.lance.permissive", []edit{permissive("lance", "bond_drum AND path_drum AND NOT drum_here")}, []edit{permissive("lance", "bond_drum AND path_drum AND drum_here")}},
	{"R077", "outputs.lance.permissive", []edit{permissive("lance", "bond_drum XOR drum_here")}, []edit{horn("contact", "NOT drum_here")}},
	{"R078", "outputs.lance.permissive", []edit{permissive("lance", "NOT bond_drum OR path_drum")}, []edit{permissive("lance", "bond_drum AND NOT drum_here")}},
	{"R079", "outputs.lance.permissive", []edit{permissive("lance", "(bond_drum OR path_drum) AND bond_cart")}, []edit{permissive("lance", "(bond_drum OR bond_cart) AND path_drum")}},
	{"R079", "outputs.lance.permissive", []edit{permissive("lance", "\"1oo2(bond_drum, path_drum)\"")}, []edit{permissive("lance", "\"2oo2(bond_drum, path_drum)\"")}},
	{"R080", "inputs.spare", []edit{{"", "\n  drum_here:", "\n  spare: {use: switch, stale_after: 60 ms}\n  drum_here:"}}, nil},
	{"R081", "vessels.drum", []edit{{"drum", "{wait", "{bonded_by: bond_drum, wait"}, {"", "target: SIL 1", "target: SIL 2"}}, []edit{{"drum", "{wait", "{bonded_by: bond_drum, wait"}}},
	{"R082", "vessels.drum", []edit{{"drum", "{wait", "{bonded_by: bond_drum, wait"}}, []edit{{"drum", "{wait", "{bonded_by: bond_drum, wait"}, {"", "target: SIL 1", "target: PL d"}}},

	{"R090", "outputs.pump.restart", []edit{{"pump", "restart: on-reset", "restart: automatic, reason: a test"}, {"drum", "wait: 60 s", "wait: 0 s"}, {"cart", "wait: 60 s", "wait: 0 s"}}, nil},
	{"R091", "outputs.slide.reset", []edit{{"slide", "reset: reset_bag", "reset: reset_drum"}}, nil},
	{"R092", "vessels.cart.acknowledge", []edit{{"cart", "acknowledge: ack_cart", "acknowledge: ack_drum"}}, nil},
	{"R093", "vessels.cart.acknowledge", []edit{{"cart", "acknowledge: ack_cart", "acknowledge: reset_drum"}}, nil},
	{"R094", "outputs.pump.stop", []edit{{"pump", "stop: stop_drum", "stop: start_drum"}}, nil},
	{"R095", "streams.bag_filling.through", []edit{{"slide", "stop: stop_bag, ", ""}, {"screw", "stop: stop_bag, ", ""}}, []edit{{"slide", "stop: stop_bag, ", ""}}},
	{"R096", "outputs.lance.stop", []edit{{"stop_drum", "inverted: yes, ", ""}}, nil},
	// 110 ms hold ten of the longest scans; a press counts from eleven of the shortest.
	{"R097", "outputs.lance.reset", []edit{{"reset_drum", "stale_after: 60 ms", "stale_after: 110 ms"}}, []edit{{"reset_drum", "stale_after: 60 ms", "stale_after: 109 ms"}}},

	{"R100", "bypasses.bypass_bag.covers", []edit{{"bypass_bag", "covers: unreadable", "covers: lost"}}, nil},
	{"R101", "bypasses.bypass_bag.for", []edit{{"bypass_bag", "for: 60 s", "for: 16 min"}}, []edit{{"bypass_bag", "for: 60 s", "for: 15 min"}}},
	{"R102", "bypasses.bypass_bag.warn", []edit{{"bypass_bag", "warn: 20 s", "warn: 9 s"}}, []edit{{"bypass_bag", "warn: 20 s", "warn: 10 s"}}},
	{"R103", "bypasses.bypass_bag.gap", []edit{{"bypass_bag", "gap: 30 s", "gap: 6 s"}}, []edit{{"bypass_bag", "gap: 30 s", "gap: 7 s"}}},
	{"R104", "bypasses.bypass_bag.input", []edit{{"bypass_bag", "input: key_bag", "input: reset_bag"}}, nil},
	{"R105", "bypasses.bypass_bag.input", []edit{{"key_bag", "use: key", "use: button"}}, nil},
	{"R106", "bypasses.bypass_bag", []edit{{"bypass_bag", ", measure: a second person at the slide", ""}}, nil},

	{"R110", "outputs.lance", []edit{{"lance", noConfirmLance, "backup: [pump]"}}, nil},
	{"R111", "outputs.lance.confirm", []edit{{"lance", "opened: lance_open, ", ""}}, nil},
	{"R111", "outputs.lance.confirm", []edit{{"lance", "closed: lance_shut, ", ""}}, nil},
	{"R112", "outputs.slide", []edit{permissive("screw", "drum_here"), {"slide", "backup: [screw], backup_when: unconfirmed, ", ""}}, []edit{permissive("screw", "drum_here")}},
	{"R113", "outputs.slide.backup", []edit{{"slide", "backup: [screw]", "backup: [pump]"}}, nil},
	{"R114", "outputs.slide.backup", []edit{permissive("screw", "drum_here"), {"bag_filling", "current: 0.1..1 nA", "current: 3 uA"}},
		[]edit{permissive("screw", "drum_here"), {"bag_filling", "current: 0.1..1 nA", "current: 3 uA"}, {"slide", "unconfirmed", "at once"}}},
	{"R115", "outputs.pump", []edit{{"pump", "confirm: {closed: pump_rests, opened: pump_runs, travel: 1 s, dead_time: 20..50 ms},", ""}}, nil},
	{"R116", "outputs.lance.confirm.dead_time", []edit{{"lance", "dead_time: 50..100 ms", "dead_time: 1..2 s"}}, []edit{{"lance", "dead_time: 50..100 ms", "dead_time: 1..1.9 s"}}},
	{"R117", "outputs.lance.confirm.travel", []edit{{"drum_filling", "bore: 40 mm", "bore: 51 mm"}}, []edit{{"drum_filling", "bore: 40 mm", "bore: 50 mm"}}},
	{"R118", "outputs.lance.confirm.travel", []edit{{"lance", "travel: 2 s", "travel: 31 s"}}, []edit{{"lance", "travel: 2 s", "travel: 30 s"}}},
	{"R119", "outputs.lance", []edit{{"lance", "output_delay: 10..20 ms, ", ""}}, nil},
	{"R120", "outputs.lance", []edit{{"lance", ", safe_state: closed", ""}}, nil},
	{"R121", "streams.bag_filling.run_down", []edit{{"bag_filling", "profile_time: 0.5..1 s", "profile_time: 5 s"}}, []edit{{"bag_filling", "profile_time: 0.5..1 s", "profile_time: 4 s"}}},
	{"R122", "streams.drum_filling.run_down", []edit{{"drum_filling", "profile_time: 0.5..1 s", "profile_time: 4 s"}}, []edit{{"bag_filling", "profile_time: 0.5..1 s", "profile_time: 5 s"}}},

	{"R130", "vessels.drum.wait", []edit{strong, {"drum", "wait: 60 s", "wait: 0 s"}}, []edit{{"drum", "wait: 60 s", "wait: 0 s"}}},
	{"R131", "vessels.drum.wait", []edit{strong, {"drum", "wait: 60 s", "wait: 1 s"}, {"drum", "leak: 1..10 GΩ", "leak: 100 GΩ"}}, nil},
	{"R132", "vessels.drum.wait", []edit{strong, {"drum", "leak: 1..10 GΩ", "leak: 1..1000 GΩ"}}, nil},
	{"R133", "vessels.drum", []edit{{"drum", "leak: 1..10 GΩ,", ""}}, nil},
	{"R134", "vessels.drum", []edit{{"drum", "rest: 30 s, ", ""}}, nil},
	{"R135", "vessels.cart", []edit{{"drum_filling", "charges: [drum, cart], sender: cart", "charges: [drum]"}}, nil},
	{"R136", "vessels.drum.bonded_by", []edit{{"drum", "{wait", "{bonded_by: bond_cart, wait"}}, []edit{{"drum", "{wait", "{bonded_by: bond_cart AND bond_drum, wait"}}},
	{"R137", "vessels.drum.lowest_capacitance", []edit{{"drum", "lowest_capacitance: 200 pF", "lowest_capacitance: 201 pF"}}, nil},
	{"R138", "vessels.drum", []edit{{"drum", "lowest_capacitance: 200 pF, ", ""}}, []edit{{"drum", "lowest_capacitance: 200 pF, ", ""}, {"drum", "object: drum", "object: silo"}}},
	{"R139", "vessels.drum.ignition", []edit{{"drum", "ignition: 0.24 mJ", "ignition: 0.25 mJ"}}, []edit{{"drum", "toluene vapour", "another vapour"}, {"drum", "ignition: 0.24 mJ", "ignition: 0.25 mJ"}}},

	{"R150", "vessels.drum.material", []edit{{"drum", "material: steel", "material: polyethylene"}}, []edit{{"cart", "material: steel", "material: lined steel"}}}, // the cart has a part
	{"R151", "parts.hopper.bonded_by", []edit{{"hopper", "channel: path_bag, ", ""}}, nil},
	{"R152", "parts.hopper.channel", []edit{{"hopper", "channel: path_bag, ", "channel: path_cart, "}}, []edit{{"path_bag", "part: bag", "part: hopper"}}},
	{"R153", "parts.hopper.bonded_by", []edit{{"hopper", "bonded_by: monitored, channel: path_bag", "bonded_by: through gasket"}}, []edit{{"hopper", "bonded_by: monitored", "bonded_by: through gasket"}}},
	{"R154", "parts.hopper", []edit{{"hopper", "bonded_by: monitored, channel: path_bag", "bonded_by: fixed and inspected"}}, nil},
	{"R155", "parts", []edit{dropParts, {"bag_filling", "sender: hopper, ", ""}}, nil},

	{"R160", "streams.drum_filling.velocity", []edit{{"drum_filling", "velocity: 1 m/s", "velocity: 7.1 m/s"}}, []edit{{"drum_filling", "velocity: 1 m/s", "velocity: 7 m/s"}}},
	// 0.5 / 0.1 m are 5 m/s.
	{"R161", "streams.drum_filling.velocity", []edit{{"drum_filling", "velocity: 1 m/s", "velocity: 5.1 m/s"}, {"drum_filling", "bore: 40 mm", "bore: 100 mm"}},
		[]edit{{"drum_filling", "velocity: 1 m/s", "velocity: 5 m/s"}, {"drum_filling", "bore: 40 mm", "bore: 100 mm"}}},
	{"R162", "streams.drum_filling", []edit{{"drum_filling", "velocity: 1 m/s, slow_velocity: 1 m/s", "velocity: 2 m/s"}}, []edit{{"drum_filling", "velocity: 1 m/s", "velocity: 2 m/s"}}},
	{"R162", "streams.drum_filling.slow_velocity", []edit{{"drum_filling", "velocity: 1 m/s, slow_velocity: 1 m/s", "velocity: 2 m/s, slow_velocity: 1.1 m/s"}},
		[]edit{{"drum_filling", "velocity: 1 m/s, slow_velocity: 1 m/s", "velocity: 2 m/s"}, {"drum_filling", "0.5..1 pS/m", "10001..20000 pS/m"}}},
	{"R163", "streams.drum_filling.after_filter", []edit{{"drum_filling", "filter: none", "filter: fine, after_filter: 29 s"}}, []edit{{"drum_filling", "filter: none", "filter: fine, after_filter: 30 s"}}},
	{"R163", "streams.drum_filling", []edit{{"drum_filling", "filter: none", "filter: fine"}}, nil},
	// 3 x 2.38 x 8.854 / 0.5 s are 126.4 s.
	{"R164", "streams.drum_filling.after_filter", []edit{{"drum_filling", "filter: none", "filter: fine, after_filter: 126 s"}}, []edit{{"drum_filling", "filter: none", "filter: fine, after_filter: 127 s"}}},
	{"R165", "streams.drum_filling", []edit{{"drum_filling", "filter: none, ", ""}}, nil},
	{"R166", "streams.drum_filling.velocity", []edit{{"drum_filling", "phases: single", "phases: with water or solids"}, {"drum_filling", "velocity: 1 m/s", "velocity: 1.1 m/s"}},
		[]edit{{"drum_filling", "phases: single", "phases: with water or solids"}}},
	{"R167", "streams.drum_filling.phases", []edit{{"drum_filling", "phases: single", "phases: with water or solids"}}, nil},
	{"R168", "streams.bag_filling.operation", []edit{{"bag_filling", "operation: pouring, charge_per_mass: 0.001..0.01 uC/kg, current: 0.1..1 nA", "operation: shaking"}},
		[]edit{{"bag_filling", "operation: pouring", "operation: shaking"}}},
	{"R168", "streams.bag_filling", []edit{{"bag_filling", "operation: pouring, charge_per_mass: 0.001..0.01 uC/kg, current: 0.1..1 nA", "phases: single"}}, nil},
	{"R169", "streams.drum_filling", []edit{{"drum_filling", "sender: cart, ", ""}}, nil},
	{"R170", "streams.drum_filling.sender", []edit{{"drum_filling", "charges: [drum, cart]", "charges: [drum]"}}, nil},
	{"R171", "streams.drum_filling", []edit{{"drum_filling", ", phases: single", ""}}, nil},

	{"R180", "requirement", []edit{{"", "  hazard: ignition by a spark from a charged vessel\n", ""}}, nil},
	{"R181", "ignition_sources", []edit{{"", "person: shoes and floor, ", ""}}, nil},
	{"R182", "requirement.response", []edit{{"", "response: at most 900 ms", "response: at most 200 ms"}}, nil},
	{"R183", "reliability", []edit{dropReliability}, nil},
	{"R184", "requirement.time_available", []edit{{"", "  clock_starts: with the loss of the bond while product flows\n", ""}}, nil},
	{"R190", "streams.drum_filling", []edit{strong}, nil},
	{"R191", "streams.drum_filling", []edit{uncertain}, nil},
	{"R192", "vessels.drum.leak", []edit{{"drum", "leak: 1..10 GΩ,", ""}}, []edit{dropParts, {"bag_filling", "sender: hopper, ", ""}}},

	{"R200", "rig.modules.relays", []edit{rig("relays: {port: line, kind: relays}")}, []edit{rig("relays: {port: line, kind: relays, time_out: 1 s}")}},
	{"R201", "rig.modules.decade", []edit{rig("decade: {port: line, kind: scpi-decade}")}, []edit{rig("meter: {port: line, kind: scpi-meter}")}},

	{"R210", "suppress.0", []edit{accept("R001", bondDrum, "accepted by the works, for this test")}, []edit{{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}, accept("R001", bondDrum, "accepted by the works, for this test")}},
	{"R211", "suppress.0", []edit{{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}, accept("R001", bondDrum, "known")}, []edit{{"bond_drum", "accept: 9 Ω", "accept: 10 Ω"}, accept("R001", bondDrum, "accepted by the works, for this test")}},
}

// dropParts and dropReliability cut a whole section; see siteWith.
var (
	dropParts       = edit{"", "\nparts:", cutSection}
	dropReliability = edit{"", "\nreliability:", cutSection}
)

func horn(actuator, permissive string) edit {
	return edit{"", "\noutputs:\n", "\noutputs:\n  horn: {actuator: " + actuator + ", permissive: " + permissive + ", restart: automatic, reason: it moves no product}\n"}
}

func rig(module string) edit {
	return edit{"", "\nrequirement:", "\nrig:\n  ports: {line: {device: /dev/none, baud: 19200, frame: 8E1}}\n  modules:\n    " + module + "\n\nrequirement:"}
}

func accept(id, at, reason string) edit {
	where := ""
	if at != "" {
		where = ", at: " + at
	}
	return edit{"", "\nrequirement:", "\nsuppress:\n  - {finding: " + id + where + ", reason: \"" + reason + "\"}\n\nrequirement:"}
}
