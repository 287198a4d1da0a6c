package fault

// What a reading can be when a contact is somewhere between perfect and gone.
const anyContact = AsBefore | ReadsBetween | ReadsHigh | ReadsOpen | ReadsOver

// anyValue is whatever a disturbed amplifier can show.
const anyValue = AsBefore | ReadsGood | ReadsBetween | ReadsHigh | ReadsOpen | ReadsOver | ReadsInvalid

var catalogue = concat(atTheClamp, inTheWire, inTheInstrument, onTheBus, atTheActuator, byPeople, inTheMachine)

func concat(lists ...[]*Fault) []*Fault {
	var all []*Fault
	for _, list := range lists {
		all = append(all, list...)
	}
	return all
}

var atTheClamp = []*Fault{
	{
		Name: "clamp_removed", On: OnChannel, Act: true, Title: "clamp taken off",
		Models: "The jaws leave the part. The channel then sees whatever a clamp sees that hangs free.",
		Sees:   Sees{Readings: ReadsOpen | ReadsOver | ReadsHigh},
		Course: Steady, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "the open loop itself; where another rule lets the output run on, the opening test: take the clamp off and see the channel lost",
	},
	{
		Name: "clamp_put_back", On: OnChannel, Act: true, Title: "clamp put back",
		Models: "Somebody bites the jaws onto the part again. On a vessel that may be charged this is the spark itself.",
		Params: []Param{{"contact", Ohm, "0.1 Ω", nil, "resistance between jaws and part"}},
		Sees:   Sees{Readings: anyContact | ReadsGood | ReadsInvalid},
		Course: Steady, Bond: BondAsRead, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "the charge memory of the vessel; that contact is bare metal, a test of the loop from the part itself",
	},
	{
		Name: "clamp_on_paint", On: OnChannel, Title: "clamp on paint",
		Models: "A coat of paint, rubber lining or dried product lies between jaws and metal.",
		Params: []Param{{"film", Ohm, "50 kΩ", nil, "resistance of the coat"}},
		Sees:   Sees{Readings: anyContact},
		Course: Steady, Way: Higher, Bond: BondAsRead, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "a test of the contact: a second meter from jaw to bare metal, by whoever clamps on",
	},
	{
		Name: "clamp_on_wrong_object", On: OnChannel, Title: "clamp on the wrong object",
		Models: "The jaws bite clean metal of the gantry, the arm or the car before. The reading is perfect and the part floats.",
		Params: []Param{{"object", Ohm, "0.2 Ω", nil, "what the wrong object reads"}},
		Sees:   Sees{Readings: ReadsGood | ReadsBetween | ReadsHigh | ReadsOpen | ReadsOver | ReadsInvalid},
		Course: Steady, Hides: HidesALoss,
		ShownBy: "object evidence that goes when the clamp bites elsewhere: a switch or a tag on the part itself, a second clamp",
	},
	{
		Name: "strap_left_out", On: OnChannel, Title: "bonding strap left out",
		Models: "After cleaning, the strap between a part and the frame is missing. A clamp loop on the frame still reads good; an earth path opens.",
		Params: []Param{{"through", Ohm, "1 TΩ", nil, "what still connects the part, such as a gasket"}},
		Sees:   Sees{Readings: anyContact},
		Course: Steady, Way: Higher, Bond: BondAsRead, Hides: HidesFromTheClamp, Evidence: EvidenceStays,
		ShownBy: "a channel that measures the earth path of the part itself; inspection after reassembly",
	},
	{
		Name: "corrosion", On: OnChannel, Title: "contact corroding",
		Models: "Contact resistance grows in a straight line and then stays.",
		Params: []Param{
			{"from", Ohm, "0 mΩ", nil, "added at the beginning"},
			{"to", Ohm, "12 Ω", nil, "added at the end"},
			{"over", Second, "10 min", nil, "how long it takes to grow"},
		},
		Sees:   Sees{Readings: anyContact},
		Course: Steady, Way: Higher, Bond: BondAsRead, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "the trend of the reading over months; a test against a known resistor finds what the limit leaves room for",
	},
	{
		Name: "film", On: OnChannel, Title: "film on the contact",
		Models: "An insulating film that breaks down now and then and heals again; both at random moments.",
		Params: []Param{
			{"film", Ohm, "100 Ω", nil, "resistance of the whole film"},
			{"broken", Ohm, "50 mΩ", nil, "what is left after a breakdown"},
			{"breaks_after", Second, "2 s", nil, "mean time until it breaks down"},
			{"heals_after", Second, "5 s", nil, "mean time until it has grown again"},
		},
		Sees: Sees{Readings: anyContact},
		Way:  Higher, Bond: BondAsRead, Hides: HidesFromTheSlow, Evidence: EvidenceStays,
		ShownBy: "the trend of the reading; cleaning of the jaws and a contact test with the current of the channel",
	},
	{
		Name: "chatter", On: OnChannel, Title: "contact chattering",
		Models: "A loose clamp: two states, made and broken, that follow each other at random with given mean times.",
		Params: []Param{
			{"open", Ohm, "1 TΩ", nil, "resistance while broken"},
			{"made", Second, "300 ms", nil, "mean time made"},
			{"broken", Second, "30 ms", nil, "mean time broken"},
		},
		Sees: Sees{Readings: anyContact},
		Way:  Higher, Bond: BondAsRead, Hides: HidesFromTheSlow, Evidence: EvidenceStays,
		ShownBy: "the count of doubtful times in the journal; a pull test of the clamp and its lead",
	},
	{
		Name: "vibration", On: OnChannel, Title: "vibration bursts",
		Models: "A truck passes, a pump cavitates: bursts at regular intervals in which the contact resistance is anything up to a peak.",
		Params: []Param{
			{"peak", Ohm, "40 Ω", nil, "highest contact resistance in a burst"},
			{"every", Second, "5 s", nil, "from the start of one burst to the next"},
			{"lasts", Second, "60 ms", nil, "length of a burst"},
		},
		Sees: Sees{Readings: anyContact},
		Way:  Higher, Bond: BondAsRead, Hides: HidesFromTheSlow, Evidence: EvidenceStays,
		ShownBy: "the count of doubtful times in the journal; a test with the machine that shakes it running",
	},
	{
		Name: "rotation", On: OnChannel, Title: "contact opening once a turn",
		Models: "A machine opens the contact for a share of every turn. Near a multiple of the scan rate the samples beat: long good, long bad, or good for ever.",
		Params: []Param{
			{"speed", PerMinute, "1480 /min", nil, "turns"},
			{"share", Share, "50 %", nil, "share of a turn that the contact is open"},
			{"open", Ohm, "1 TΩ", nil, "resistance while open"},
		},
		Sees: Sees{Readings: anyContact},
		Way:  Higher, Bond: BondAsRead, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "a transmitter whose aperture spans a turn, or a scan rate away from the speed",
	},
	{
		Name: "leak_path", On: OnChannel, Title: "leak across the connection",
		Models: "A wet plug or a dirty insulator bridges the terminals: a megohm channel then reads good with nothing connected.",
		Params: []Param{{"leak", Ohm, "50 MΩ", nil, "resistance of the leak"}},
		Sees:   Sees{Readings: anyValue},
		Course: Steady, Way: Lower, AtMost: "leak", Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "the hanging-free reading, checked at the start of a shift; a plausible floor catches low leaks",
	},
}

var inTheWire = []*Fault{
	{
		Name: "broken_wire", On: OnChannel, Title: "wire broken",
		Models: "A conductor of the lead parts, whatever the clamp does.",
		Sees:   Sees{Readings: ReadsOpen | ReadsOver},
		Course: Steady, Bond: BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "an opening test: part the lead at the clamp and see the channel lost",
	},
	{
		Name: "shorted_leads", On: OnChannel, Title: "leads shorted",
		Models: "The two conductors touch somewhere along the run: the reading is the lead up to there, whatever the clamp does. A short at the jaws reads as a perfect bond.",
		Params: []Param{
			{"along", Share, "50 %", nil, "how far along the run, from the transmitter"},
			{"short", Ohm, "10 mΩ", nil, "resistance of the short itself"},
		},
		Sees:   Sees{Readings: anyValue},
		Course: Steady, Way: Lower, Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "a plausible floor for the first part of the run; an end-of-line element or a proof test for the rest",
	},
	{
		Name: "lead_temperature", On: OnChannel, Title: "leads at another temperature",
		Models: "Copper changes by 0.393 % a kelvin: hot leads eat the limit, cold leads read below a floor set in summer.",
		Params: []Param{
			{"to", Celsius, "", nil, "temperature of the whole run"},
			{"over", Second, "0 s", nil, "how long it takes to get there"},
		},
		Sees:   Sees{Readings: anyValue},
		Course: Steady, Bond: BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "a test resistor at the clamp on the hottest and on the coldest day",
	},
}

var inTheInstrument = []*Fault{
	{
		Name: "mains_pickup", On: OnChannel, Title: "mains pickup",
		Models: "An alternating voltage in series with the loop, divided by the test current.",
		Params: []Param{
			{"amplitude", Volt, "5 mV", nil, "peak voltage in the loop"},
			{"frequency", Hertz, "50 Hz", nil, "of the mains"},
		},
		Sees: Sees{Readings: anyValue},
		Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "an aperture of whole mains periods; a check of both polarities",
	},
	{
		Name: "stray_dc", On: OnChannel, Title: "stray direct voltage",
		Models: "Traction return or cathodic protection drives a direct voltage through the loop: it adds to or takes from the reading. A transmitter that measures with both polarities notices.",
		Params: []Param{{"voltage", Volt, "50 mV", nil, "in the sense of the test current"}},
		Sees:   Sees{Readings: anyValue},
		Course: Steady, Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "a transmitter that measures with both polarities and compares",
	},
	{
		Name: "noise", On: OnChannel, Title: "noise",
		Models: "Gaussian noise on every measurement, more than the instrument has anyway.",
		Params: []Param{{"deviation", Ohm, "0.5 Ω", nil, "standard deviation"}},
		Sees:   Sees{Readings: anyValue},
		Bond:   BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "the scatter of the reading at a test resistor",
	},
	{
		Name: "fast_bursts", On: OnChannel, Title: "fast transient bursts",
		Models: "Switching of coils and contactors: bursts at regular intervals; in a burst a share of the measurements is thrown anywhere up to the amplitude, either way.",
		Params: []Param{
			{"amplitude", Ohm, "500 Ω", nil, "largest error"},
			{"every", Second, "300 ms", nil, "from one burst to the next"},
			{"lasts", Second, "15 ms", nil, "length of a burst"},
			{"hits", Share, "50 %", nil, "share of measurements in a burst that are disturbed"},
		},
		Sees: Sees{Readings: anyValue},
		Bond: BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "the changes of phase in /metrics while contactors switch, at a test resistor",
	},
	{
		Name: "coarse_adc", On: OnChannel, Title: "coarse converter",
		Models: "The converter resolves less than it should: the reading moves in steps.",
		Params: []Param{{"step", Ohm, "0.5 Ω", nil, "one step"}},
		Sees:   Sees{Readings: anyValue},
		Bond:   BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "a test with two resistors, one just below accept and one just above reject",
	},
	{
		Name: "saturation", On: OnChannel, Title: "amplifier saturated",
		Models: "The amplifier can not go above a value: an open circuit shows that value as if it were measured.",
		Params: []Param{{"top", Ohm, "", nil, "highest value that comes out"}},
		Sees:   Sees{Readings: anyValue},
		Course: Steady, Way: Lower, AtMost: "top", Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "an open-circuit check at the start of a shift: clamp free must read open",
	},
	{
		Name: "over_range", On: OnChannel, Title: "device reports over-range",
		Models: "The device says that the value is above what it can measure.",
		Sees:   Sees{Readings: ReadsOver},
		Course: Steady, Bond: BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "an opening test: with the clamp free the channel must read open or invalid, never good",
	},
	{
		Name: "bad_quality", On: OnChannel, Title: "device reports bad quality",
		Models: "The device knows of a fault of its own and says: do not use this value.",
		Sees:   Sees{Readings: ReadsInvalid},
		Course: Steady, Bond: BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "a test of the status bit: part the sensor and see the channel unreadable",
	},
	{
		Name: "frozen_reading", On: OnChannel, Title: "reading frozen",
		Models: "A gateway hands over its last value for ever with good quality. Its stamp stands, or keeps counting.",
		Params: []Param{{"stamp", Word, "stands", []string{"stands", "runs"}, "what the device's own stamp does"}},
		Sees:   Sees{Readings: AsBefore | ComesAgain | ReadsGood},
		Course: Steady, Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "a stamp of the device itself; a test resistor that must move the reading",
	},
	{
		Name: "drift", On: OnChannel, Title: "reading drifting",
		Models: "The offset of the instrument moves in a straight line and then stays. Downward drift hides a bad contact, and below zero it is invalid.",
		Params: []Param{
			{"by", Ohm, "", nil, "offset at the end; may be negative"},
			{"over", Second, "10 min", nil, "how long it takes"},
		},
		Sees:   Sees{Readings: anyValue},
		Course: Steady, Bond: BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "calibration; a plausible floor catches the last part",
	},
}

var onTheBus = []*Fault{
	{
		Name: "lost_samples", On: OnChannel, Title: "readings lost",
		Models: "A share of the readings never arrives, at random.",
		Params: []Param{{"share", Share, "1 %", nil, "share that is lost"}},
		Sees:   Sees{Readings: AsBefore | NothingComes},
		Bond:   BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "the age of the last reading in /metrics",
	},
	{
		Name: "late_samples", On: OnChannel, Title: "readings late",
		Models: "Every reading arrives later than it was measured, with its own stamp.",
		Params: []Param{{"delay", Second, "100 ms", nil, "how much later"}},
		Sees:   Sees{Readings: AsBefore | ReadsGood | ReadsBetween | ReadsHigh | ReadsOpen | ReadsOver | ReadsInvalid | NothingComes | ComesAgain},
		Bond:   BondStays, Hides: HidesALoss, Evidence: EvidenceStays,
		ShownBy: "nothing in the logic: a stamp tells the order, not the delay; count the delay into the time budget",
	},
	{
		Name: "repeated_samples", On: OnChannel, Title: "readings repeated",
		Models: "A share of the readings is the one before handed over again, with its old stamp.",
		Params: []Param{{"share", Share, "50 %", nil, "share that is repeated"}},
		Sees:   Sees{Readings: AsBefore | ComesAgain},
		Bond:   BondStays, Hides: HidesUnstamped, Evidence: EvidenceStays,
		ShownBy: "the age of the last reading in /metrics: repeated is no news",
	},
	{
		Name: "report_on_change", On: OnChannel, Title: "device reports only changes",
		Models: "The device sends a reading only when it has moved by more than a deadband; chatter inside it is invisible, and silence looks like health.",
		Params: []Param{{"deadband", Ohm, "0.5 Ω", nil, "smaller moves are not sent"}},
		Sees:   Sees{Readings: AsBefore | NothingComes},
		Bond:   BondStays, Hides: HidesNothing, Evidence: EvidenceStays,
		ShownBy: "a test resistor in and out: the reading must come with every poll, moved or not",
	},
	{
		Name: "bus_cut", On: OnBus, Title: "bus cut",
		Models: "The serial line parts: no reading and no input of it arrives any more.",
		Sees:   Sees{Readings: NothingComes, Signals: NoSignal},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "a cut of the line by hand: every channel of it must become unreadable",
	},
	{
		Name: "input_lost", On: OnInput, Title: "input module lost",
		Models: "A binary input's module drops off the bus, or says that it can not be trusted.",
		Params: []Param{{"shows", Word, "nothing", []string{"nothing", "faulty"}, "what arrives instead"}},
		Sees:   Sees{Signals: SignalFaulty | NoSignal},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "a test of the input: pull its module and see what the logic does of it",
	},
	{
		Name: "input_stuck", On: OnInput, Title: "input stuck",
		Models: "A wire touches another or has parted: the input shows one value on the wire, whatever is true.",
		Params: []Param{{"reads", Word, "0", []string{"0", "1"}, "value on the wire"}},
		Sees:   Sees{Signals: SignalLow | SignalHigh},
		Course: Steady, Hides: HidesALoss,
		ShownBy: "two switches that must contradict each other; a proof test",
	},
}

var atTheActuator = []*Fault{
	{
		Name: "welded_contact", On: OnOutput, Title: "output contact welded",
		Models: "The output's contact does not open: the actuator stays energised whatever the logic decides.",
		Sees:   Sees{Actuator: StaysOpen},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "a test of the contact: withhold the output and measure that its coil has no supply",
	},
	{
		Name: "slow_valve", On: OnOutput, Title: "actuator slow",
		Models: "Cold grease, a blocked vent: the stroke takes longer.",
		Params: []Param{{"by", Second, "30 s", nil, "longer than it should"}},
		Sees:   Sees{Actuator: MovesLate},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "a timed stroke: from withheld to its closed end, against the travel time",
	},
	{
		Name: "stuck_valve", On: OnOutput, Title: "actuator stuck",
		Models: "The actuator stays where it is.",
		Sees:   Sees{Actuator: StaysOpen | StaysShut | StaysBetween},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "a stroke of the actuator, withheld from running, seen at the valve itself",
	},
	{
		Name: "end_switch_on", On: OnInput, Title: "end switch stuck made",
		Models: "An end switch keeps reporting its end although the actuator has left it.",
		Sees:   Sees{Signals: SignalHigh | SignalLow},
		Course: Steady, Hides: HidesALoss, Fits: EndSwitches,
		ShownBy: "a second switch at the other end: both made contradict each other",
	},
	{
		Name: "end_switch_off", On: OnInput, Title: "end switch stuck open",
		Models: "An end switch never reports its end.",
		Sees:   Sees{Signals: SignalHigh | SignalLow},
		Course: Steady, Hides: HidesNothing, Fits: EndSwitches,
		ShownBy: "a stroke by hand with the input watched: the switch must make at its end",
	},
}

var byPeople = []*Fault{
	{
		Name: "button_pressed", On: OnInput, Act: true, Title: "button pressed",
		Models: "One press, at whatever moment.",
		Params: []Param{{"for", Second, "0.5 s", nil, "how long it is down"}},
		Sees:   Sees{Signals: SignalAsBefore | ContactMade},
		Hides:  HidesNothing, Fits: Buttons,
		ShownBy: "a press of the button with the input watched, in every state of the output",
	},
	{
		Name: "button_held", On: OnInput, Title: "button held",
		Models: "Somebody leans on it until the fault ends.",
		Sees:   Sees{Signals: ContactMade},
		Course: Steady, Hides: HidesNothing, Fits: Buttons,
		ShownBy: "a press of the button with the input watched: it must come and go",
	},
	{
		Name: "button_taped", On: OnInput, Title: "button taped down",
		Models: "Down from the beginning and for good, as found on a night shift.",
		Sees:   Sees{Signals: ContactMade},
		Course: Steady, Hides: HidesNothing, Fits: Buttons,
		ShownBy: "the round at the start of a shift; a press with the input watched: it must come and go",
	},
	{
		Name: "button_bouncing", On: OnInput, Title: "contact bouncing",
		Models: "After every change of the contact its value is at random for a time. Measured push buttons settle within 0.5 ms; a worn one may not.",
		Params: []Param{{"bounce", Second, "30 ms", nil, "how long after a change"}},
		Sees:   Sees{Signals: SignalAsBefore | ContactMade | ContactOpen},
		Course: Bounces, Hides: HidesNothing, Fits: Buttons,
		ShownBy: "a recording of the contact over a press, against the shortest press",
	},
	{
		Name: "bypass_used", On: OnBypass, Act: true, Title: "bypass key turned",
		Models:  "Somebody turns the bypass key and lets it go.",
		Params:  []Param{{"for", Second, "0.5 s", nil, "how long it is turned"}},
		Sees:    Sees{Signals: SignalAsBefore | ContactMade},
		Hides:   HidesNothing,
		ShownBy: "the journal and the round at the start of a shift: who turned the key, and why",
	},
}

var inTheMachine = []*Fault{
	{
		Name: "scan_overrun", On: OnLogic, Title: "scan overrun",
		Models: "A scan takes longer than it may, and the logic is told in the next.",
		Params: []Param{{"share", Share, "100 %", nil, "share of the scans that overrun"}},
		Sees:   Sees{Machine: Overruns},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "the count of overruns in /metrics; a load test of the machine",
	},
	{
		Name: "power_dip", On: OnLogic, Title: "supply off",
		Models: "The supply of the logic fails and comes back: every output falls, and all memory is gone.",
		Sees:   Sees{Machine: LosesMemory, Readings: NothingComes, Signals: NoSignal},
		Course: Steady, Hides: HidesNothing,
		ShownBy: "a test of the supply: switch it off and on, nothing may start by itself",
	},
}
