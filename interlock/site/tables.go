package site

import (
	"strconv"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// The tables below are the grammar of the site file: every key, what it takes,
// and what it means. The reader and the schema are both made from them.

// Limits on the things that the logic itself does not count.
const (
	maxVessels    = 512
	maxStreams    = 512
	maxProperties = 512
	maxParts      = 1024
	maxRigThings  = 1024
)

var siteFields = fields[Site]{
	must("site", matching(namePattern, "quarry_road", "a name", func(s *Site, m []string) { s.Name = m[0] }), "Name of the site."),
	may("title", text(func(s *Site) *string { return &s.Title }), "What people call it."),
	must("scan", times(func(s *Site) *time.Duration { return &s.Period.Min }, func(s *Site) *time.Duration { return &s.Period.Max }),
		"Scan period of the logic; an interval where it varies. Times are rounded to the safe side for both ends."),
	may("poll", duration(func(s *Site) *time.Duration { return &s.Poll }), "One cycle of the bus that fetches the readings; silent: the longest scan period."),
	must("channels", named(channelFields, aChannel, interlock.MaxChannels, func(s *Site) *[]Channel { return &s.Channels }, func(c *Channel) *string { return &c.Name }), "Monitored earth connections."),
	may("inputs", named(inputFields, anInput, interlock.MaxInputs, func(s *Site) *[]Input { return &s.Inputs }, func(i *Input) *string { return &i.Name }), "Binary inputs: buttons, keys, switches, evidence, flow."),
	must("outputs", named(outputFields, anOutput, interlock.MaxOutputs, func(s *Site) *[]Output { return &s.Outputs }, func(o *Output) *string { return &o.Name }), "Pumps, valves and others, energised to run or open."),
	may("vessels", named(vesselFields, aVessel, maxVessels, func(s *Site) *[]Vessel { return &s.Vessels }, func(v *Vessel) *string { return &v.Name }), "Conductive things that can be charged."),
	may("streams", named(streamFields, aStream, maxStreams, func(s *Site) *[]Stream { return &s.Streams }, func(v *Stream) *string { return &v.Name }), "Product that charges vessels while it flows."),
	may("bypasses", named(bypassFields, aBypass, interlock.MaxChannels, func(s *Site) *[]Bypass { return &s.Bypasses }, func(b *Bypass) *string { return &b.Name }), "Time-limited permission to go on with an unreadable channel."),
	may("properties", named(propertyFields, aProperty, maxProperties, func(s *Site) *[]Property { return &s.Properties }, func(p *Property) *string { return &p.Name }), "What is to be verified beyond the properties that every site has."),
	may("requirement", answers[Site]{requirementKeys, func(s *Site) *map[string]string { return (*map[string]string)(&s.Requirement) }}, "The safety requirement; blank fields are findings of review."),
	may("ignition_sources", answers[Site]{ignitionKeys, func(s *Site) *map[string]string { return &s.Ignition }}, "Ignition sources that bonding does not remove, and what is done about each."),
	may("parts", named(partFields, aPart, maxParts, func(s *Site) *[]Part { return &s.Parts }, func(p *Part) *string { return &p.Name }), "Conductive parts of vessels and how each is bonded."),
	may("reliability", named(functionFields, aFunction, maxFunctions, func(s *Site) *[]Function { return &s.Functions }, func(f *Function) *string { return &f.Name }), "Safety functions with the user's own failure rates."),
	may("rig", section(rigFields, func(s *Site) *Rig { s.Rig.Set = true; return &s.Rig }), "Which module and point stands for which name on the test rig."),
	may("suppress", listOf(section(suppressionFields, self), func(s *Site) *[]Suppression { return &s.Suppress }, 256), "Findings of review that are accepted, each with a reason."),
}

// self is for sections that fill the same value as the one around them.
func self[T any](t *T) *T { return t }

var channelFields = fields[Channel]{
	may("title", text(func(c *Channel) *string { return &c.Title }), "What people call it."),
	must("part", refer(func(c *Channel) *string { return &c.Part }, aVessel|aPart), "The vessel or part that it watches."),
	must("measures", oneOf(func(c *Channel) *string { return &c.Measures }, "clamp-loop", "earth-path"), "clamp-loop: the jaws bite metal; earth-path: resistance to earth."),
	must("kind", oneOf(func(c *Channel) *string { return &c.Kind }, "metal", "dissipative"), "metal: reject at most 10 Ω; dissipative: at most 100 MΩ."),
	must("accept", ohms(func(c *Channel) *monitor.Microohm { return &c.Accept }), "At or below, a reading is good."),
	must("reject", ohms(func(c *Channel) *monitor.Microohm { return &c.Reject }), "Above, a reading is high."),
	must("open_above", ohms(func(c *Channel) *monitor.Microohm { return &c.OpenAbove }), "At or above, the circuit is open."),
	may("plausible_floor", ohms(func(c *Channel) *monitor.Microohm { return &c.Floor }), "Below, a reading is invalid: no real connection is that good."),
	may("valid_up_to", ohms(func(c *Channel) *monitor.Microohm { return &c.ValidMax }), "Above, the transmitter's reading is invalid; silent: no such limit."),
	must("over_range", oneOf(func(c *Channel) *string { return &c.OverRange }, "open", "invalid"), "What it means that the device reports over-range."),
	must("device_stamp", yesNo(func(c *Channel) *bool { return &c.Stamped }), "Whether the device tells when it measured. Without it a frozen reading is not detected."),
	must("stale_after", scans(func(c *Channel) *time.Duration { return &c.StaleAfter }), "So long a reading may be old before it is missing."),
	must("settle", section(settleFields, self), "What it takes until a good reading counts as a bond."),
	must("patience", section(patienceFields, self), "How long bad readings of each class are tolerated; 0 ms: not at all."),
	must("counting", matching(`^(consecutive|integrating ([1-9][0-9]{0,3}):([1-9][0-9]{0,3}))$`, "consecutive", "a counting rule: consecutive, or integrating 4:1", setCounting),
		"consecutive: one good reading forgives all doubt. integrating 4:1: four good ones repay one bad one of the class with the longest patience."),
	must("longest_doubt", scans(func(c *Channel) *time.Duration { return &c.LongestDoubt }), "Longest stay in doubtful; it ends in lost."),
	may("aperture", duration(func(c *Channel) *time.Duration { return &c.Aperture }), "Time over which the transmitter measures one reading."),
	may("object_evidence", refer(func(c *Channel) *string { return &c.Evidence }, anInput, "evidence", "switch"), "Input that shows the clamp on the right object."),
	may("leads", section(leadFields, func(c *Channel) *Leads { return &c.Leads }), "The wire between transmitter and clamp."),
	may("transmitter", section(transmitterFields, func(c *Channel) *Transmitter { return &c.Transmitter }), "What turns resistance into a number."),
	may("hanging_free", ohms(func(c *Channel) *monitor.Microohm { return &c.HangingFree }), "Dissipative: reading with nothing connected."),
	may("hanging_humidity", span(quantity.Ratio, func(c *Channel) *Span { return &c.HangingHumidity }), "Relative humidity at that reading."),
	may("response_time", duration(func(c *Channel) *time.Duration { return &c.ResponseTime }), "Settling time of the measurement itself."),
	may("uncertainty", ohms(func(c *Channel) *monitor.Microohm { return &c.Uncertainty }), "Uncertainty of a reading at the reject limit."),
	may("rotations", floats(quantity.Rotation, func(c *Channel) *[]float64 { return &c.RotationsPerMin }), "Rotation speeds that shake this clamp."),
	may("proof_test", text(func(c *Channel) *string { return &c.ProofTest }), "Interval and what is done."),
}

func setCounting(c *Channel, m []string) {
	c.Counting = "consecutive"
	if m[2] != "" {
		c.Counting = "integrating"
		c.RepayGood, _ = strconv.Atoi(m[2]) // the pattern lets only digits through
		c.RepayBad, _ = strconv.Atoi(m[3])
	}
}

var settleFields = fields[Channel]{
	must("time", scans(func(c *Channel) *time.Duration { return &c.SettleTime }), "It must be good for so long,"),
	must("readings", count(func(c *Channel) *int { return &c.SettleReadings }, 3, 1_000_000), "over so many fresh readings;"),
	or("0 s", may("pause", scans(func(c *Channel) *time.Duration { return &c.SettlePause }), "so long, in all, it may pause for want of readings.")),
}

var patienceFields = fields[Channel]{
	patience("high", monitor.High, "Above reject."),
	patience("open", monitor.Open, "Open circuit."),
	patience("invalid", monitor.Invalid, "Readings that the device itself refuses, or that cannot be."),
	patience("missing", monitor.Missing, "No reading, after stale_after."),
}

func patience(key string, class monitor.Class, help string) field[Channel] {
	return must(key, scans(func(c *Channel) *time.Duration { return &c.Patience[class] }), help)
}

var leadFields = fields[Leads]{
	may("length", span(quantity.Length, func(l *Leads) *Span { return &l.Length }), "One way."),
	may("area", float(quantity.Area, func(l *Leads) *float64 { return &l.Area }), "Cross-section of the conductor."),
	may("class", count(func(l *Leads) *int { return &l.Class }, 1, 6), "Conductor class of IEC 60228."),
	may("measured", span(quantity.Resistance, func(l *Leads) *Span { return &l.Measured }), "The loop with the jaws shorted."),
	may("at", span(quantity.Temperature, func(l *Leads) *Span { return &l.At }), "Temperature at that measurement."),
	may("coldest", span(quantity.Temperature, func(l *Leads) *Span { return &l.Coldest }), "Lowest temperature expected."),
}

var transmitterFields = fields[Transmitter]{
	may("test_current", span(quantity.Current, func(t *Transmitter) *Span { return &t.TestCurrent }), "Current through the clamp."),
	may("output", text(func(t *Transmitter) *string { return &t.Output }), "How it tells its reading, such as modbus or 4-20 mA."),
	may("both_poles", yesNo(func(t *Transmitter) *bool { return &t.BothPoles }), "Whether it measures with both polarities and compares."),
}

var inputFields = fields[Input]{
	may("title", text(func(i *Input) *string { return &i.Title }), "What people call it."),
	must("use", oneOf(func(i *Input) *string { return &i.Use }, "button", "key", "switch", "evidence", "flow"), "What it is for; other uses are refused."),
	or("no", may("inverted", yesNo(func(i *Input) *bool { return &i.Inverted }), "Whether a 0 means yes.")),
	must("stale_after", scans(func(i *Input) *time.Duration { return &i.StaleAfter }), "So long a signal may be old before its value is unknown."),
}

// buttons are the inputs that people press.
var buttons = []string{"button", "key"}

var outputFields = fields[Output]{
	may("title", text(func(o *Output) *string { return &o.Title }), "What people call it."),
	must("actuator", oneOf(func(o *Output) *string { return &o.Actuator }, "pump", "valve", "fan", "conveyor", "mixer", "contact"), "What it drives."),
	must("permissive", expression(func(o *Output) *string { return &o.Permissive }, aChannel|anInput), "When it may run: AND, OR, XOR, NOT, 2oo3(a, b, c), over channels and inputs."),
	or("0 s", may("on_delay", scans(func(o *Output) *time.Duration { return &o.OnDelay }), "So long the permissive must be met before it starts.")),
	must("restart", oneOf(func(o *Output) *string { return &o.Restart }, "on-reset", "automatic"), "automatic needs a reason and is refused where a vessel has a wait."),
	may("reason", text(func(o *Output) *string { return &o.Reason }), "Why automatic is right here."),
	may("reset", refer(func(o *Output) *string { return &o.Reset }, anInput, buttons...), "Button that resets it."),
	may("start", refer(func(o *Output) *string { return &o.Start }, anInput, buttons...), "Button that starts it; without one the reset does."),
	may("stop", refer(func(o *Output) *string { return &o.Stop }, anInput, "button", "key", "switch"), "True or unknown stops it."),
	or("0.1..3 s", may("press", times(func(o *Output) *time.Duration { return &o.PressMin }, func(o *Output) *time.Duration { return &o.PressMax }), "How long a deliberate press lasts.")),
	may("confirm", section(confirmFields, self), "End switches that show what the actuator did."),
	may("backup", referAll(func(o *Output) *[]string { return &o.Backup }, anOutput), "Outputs that are withheld when this one stays open."),
	or("unconfirmed", may("backup_when", oneOf(func(o *Output) *string { return &o.BackupWhen }, "unconfirmed", "at once"), "When the backup is called.")),
	may("output_delay", span(quantity.Time, func(o *Output) *Span { return &o.OutputDelay }), "Delay of the contact and the output module."),
	may("safe_state", text(func(o *Output) *string { return &o.SafeState }), "Position without energy."),
}

var confirmFields = fields[Output]{
	may("closed", refer(func(o *Output) *string { return &o.Closed }, anInput, "switch"), "True when stopped or closed."),
	may("opened", refer(func(o *Output) *string { return &o.Opened }, anInput, "switch"), "True when running or open."),
	must("travel", scans(func(o *Output) *time.Duration { return &o.Travel }), "Longest time from either end to the other."),
	may("dead_time", span(quantity.Time, func(o *Output) *Span { return &o.DeadTime }), "From the command until the actuator moves."),
}

var vesselFields = fields[Vessel]{
	may("title", text(func(v *Vessel) *string { return &v.Title }), "What people call it."),
	may("bonded_by", expression(func(v *Vessel) *string { return &v.BondedBy }, aChannel), "Channels that show its earth; silent: all channels of this part."),
	or("0 s", may("wait", scans(func(v *Vessel) *time.Duration { return &v.Wait }), "After confirmed end of flow, before a vessel that may be charged is run again.")),
	or("0 s", may("rest", scans(func(v *Vessel) *time.Duration { return &v.Rest }), "After confirmed end of flow, before it is unclamped.")),
	may("acknowledge", refer(func(v *Vessel) *string { return &v.Acknowledge }, anInput, buttons...), "Button that clears an early reconnection; needed with a wait."),
	or("0.1..3 s", may("press", times(func(v *Vessel) *time.Duration { return &v.PressMin }, func(v *Vessel) *time.Duration { return &v.PressMax }), "How long a deliberate press lasts.")),
	may("capacitance", span(quantity.Capacitance, func(v *Vessel) *Span { return &v.Capacitance }), "To earth, as it stands while product flows."),
	may("lowest_capacitance", span(quantity.Capacitance, func(v *Vessel) *Span { return &v.CapacitanceLow }), "The lowest that it will ever have, such as lifted off its stand."),
	may("leak", span(quantity.Resistance, func(v *Vessel) *Span { return &v.Leak }), "Resistance to earth without the clamp."),
	may("ignition", span(quantity.Energy, func(v *Vessel) *Span { return &v.Ignition }), "Minimum ignition energy of what is around it."),
	may("atmosphere", text(func(v *Vessel) *string { return &v.Atmosphere }), "What is around it."),
	may("group", oneOf(func(v *Vessel) *string { return &v.Group }, "IIA", "IIB", "IIC", "IIIA", "IIIB", "IIIC"), "Explosion group."),
	may("object", text(func(v *Vessel) *string { return &v.Object }), "What it is, for default values: rail_car, drum, ibc, fibc, person, …"),
	may("material", text(func(v *Vessel) *string { return &v.Material }), "What its wall is made of."),
	may("second_path", span(quantity.Resistance, func(v *Vessel) *Span { return &v.SecondPath }), "Another path to earth, such as rails."),
}

var streamFields = fields[Stream]{
	may("title", text(func(s *Stream) *string { return &s.Title }), "What people call it."),
	must("kind", oneOf(func(s *Stream) *string { return &s.Kind }, "liquid", "powder"), "What flows."),
	must("through", referAll(func(s *Stream) *[]string { return &s.Through }, anOutput), "Outputs in series: one that is confirmed stopped stops the stream."),
	must("charges", referAll(func(s *Stream) *[]string { return &s.Charges }, aVessel), "Vessels that it charges."),
	may("sender", refer(func(s *Stream) *string { return &s.Sender }, aVessel|aPart), "What it flows out of, which it charges oppositely."),
	may("flow", refer(func(s *Stream) *string { return &s.Flow }, anInput, "flow"), "Flow switch, true while product moves."),
	or("0 s", may("run_down", scans(func(s *Stream) *time.Duration { return &s.RunDown }), "How long charge still arrives after a confirmed stop.")),
	may("longest_stop", scans(func(s *Stream) *time.Duration { return &s.LongestStop }), "Where nothing confirms the stop: longest time from the command until no charge arrives."),
	may("lasts", span(quantity.Time, func(s *Stream) *Span { return &s.Lasts }), "One whole transfer, for parts that no channel watches."),
	or("full", may("profile", oneOf(func(s *Stream) *string { return &s.Profile }, "full", "linear", "first-order", "reciprocal"), "How the flow falls after the command.")),
	may("profile_time", span(quantity.Time, func(s *Stream) *Span { return &s.ProfileTime }), "Time of that profile."),
	may("product", text(func(s *Stream) *string { return &s.Product }), "What it is."),
	may("current", span(quantity.Current, func(s *Stream) *Span { return &s.Current }), "Charging current, where it is known."),
	may("velocity", span(quantity.Velocity, func(s *Stream) *Span { return &s.Velocity }), "In the pipe."),
	may("slow_velocity", span(quantity.Velocity, func(s *Stream) *Span { return &s.SlowVelocity }), "In the pipe until the inlet is covered."),
	may("bore", span(quantity.Length, func(s *Stream) *Span { return &s.Bore }), "Inner diameter of the pipe."),
	may("length", span(quantity.Length, func(s *Stream) *Span { return &s.Length }), "Of the pipe."),
	may("conductivity", span(quantity.Conductivity, func(s *Stream) *Span { return &s.Conductivity }), "Of the liquid."),
	may("permittivity", span(quantity.Number, func(s *Stream) *Span { return &s.Permittivity }), "Of the liquid, relative; a plain number."),
	may("filter", oneOf(func(s *Stream) *string { return &s.Filter }, "none", "strainer", "fine"), "What the liquid passed."),
	may("after_filter", span(quantity.Time, func(s *Stream) *Span { return &s.FilterBefore }), "Residence time after the last fine filter."),
	may("mass_flow", span(quantity.MassFlow, func(s *Stream) *Span { return &s.MassFlow }), "Of the powder."),
	may("operation", text(func(s *Stream) *string { return &s.Operation }), "What is done to the powder: pouring, sieving, pneumatic, …"),
	may("charge_per_mass", span(quantity.ChargePerMass, func(s *Stream) *Span { return &s.ChargePerKg }), "Of the powder."),
	may("phases", oneOf(func(s *Stream) *string { return &s.Phases }, "single", "with water or solids"), "What is in the liquid."),
}

var bypassFields = fields[Bypass]{
	may("title", text(func(b *Bypass) *string { return &b.Title }), "What people call it."),
	must("input", refer(func(b *Bypass) *string { return &b.Input }, anInput, buttons...), "Key that begins it."),
	must("channel", refer(func(b *Bypass) *string { return &b.Channel }, aChannel), "Channel that it bypasses."),
	must("for", scans(func(b *Bypass) *time.Duration { return &b.For }), "How long it lasts."),
	must("warn", scans(func(b *Bypass) *time.Duration { return &b.Warn }), "So long before its end people are warned."),
	must("gap", scans(func(b *Bypass) *time.Duration { return &b.Gap }), "After its end, with the key released, before the next."),
	or("unreadable", may("covers", oneOf(func(b *Bypass) *string { return &b.Covers }, "unreadable", "lost"), "lost as well needs a compensating measure.")),
	may("measure", optionalText(func(b *Bypass) *string { return &b.Measure }), "The measure that compensates."),
}

var propertyFields = fields[Property]{
	may("title", text(func(p *Property) *string { return &p.Title }), "What people call it."),
	must("kind", oneOf(func(p *Property) *string { return &p.Kind }, "within", "never", "until", "tolerates"), "What is claimed."),
	may("output", refer(func(p *Property) *string { return &p.Output }, anOutput), "The output that it is about."),
	may("when", expression(func(p *Property) *string { return &p.When }, aChannel|anInput|anOutput), "The condition that sets it off."),
	may("then", expression(func(p *Property) *string { return &p.Then }, aChannel|anInput|anOutput), "What must then hold."),
	may("time", scans(func(p *Property) *time.Duration { return &p.Time }), "Within what time, or for how long."),
	may("channel", refer(func(p *Property) *string { return &p.Channel }, aChannel), "tolerates: the channel."),
	may("class", oneOf(func(p *Property) *string { return &p.Class }, "high", "open", "invalid", "missing"), "tolerates: the class of bad readings."),
	may("share", text(func(p *Property) *string { return &p.Share }), "tolerates: share of bad readings, such as 1 in 5."),
}

var partFields = fields[Part]{
	may("title", text(func(p *Part) *string { return &p.Title }), "What people call it."),
	must("of", refer(func(p *Part) *string { return &p.Of }, aVessel), "Vessel that it belongs to."),
	must("bonded_by", text(func(p *Part) *string { return &p.BondedBy }), "monitored, fixed and inspected, through gasket, …"),
	may("channel", refer(func(p *Part) *string { return &p.Channel }, aChannel), "Channel that monitors it."),
	may("floats", text(func(p *Part) *string { return &p.Floats }), "What floats when this bond goes."),
	may("capacitance", span(quantity.Capacitance, func(p *Part) *Span { return &p.Capacitance }), "To earth, when it floats."),
}

var requirementKeys = [][2]string{
	{"function", "What the safety function does."}, {"hazard", "What it prevents."}, {"safe_state", "Where it leads to."},
	{"demand_mode", "How often it is called on."}, {"time_available", "From when to when it must have acted."}, {"clock_starts", "What starts that clock."},
	{"target", "Integrity that is asked for."}, {"response", "Response time that is claimed."}, {"spurious", "How many useless trips are tolerable."},
	{"reset", "Who resets it, and how."}, {"bypass", "Who may bypass it, and how."}, {"proof_test", "Interval and what is done."},
}

var ignitionKeys = [][2]string{
	{"person", "Charged people."}, {"lining", "Lined or plastic vessels."}, {"isolated_liquid", "Liquid without contact to earth."},
	{"cone_discharge", "Discharge over heaped powder."}, {"propagating_brush", "Discharge over thin insulating layers."},
	{"hybrid", "Vapour and dust together."}, {"hose", "Hoses and their fittings."},
}

var suppressionFields = fields[Suppression]{
	must("finding", matching(`^[A-Z]+[0-9]+$`, "R012", "the id of a finding", func(s *Suppression, m []string) { s.Finding = m[0] }), "Id of the finding."),
	may("at", text(func(s *Suppression) *string { return &s.At }), "Where: a path such as channels.bond_1; silent: everywhere."),
	must("reason", text(func(s *Suppression) *string { return &s.Reason }), "Why it is accepted."),
}

var rigFields = fields[Rig]{
	may("ports", named(portFields, aPort, maxRigThings, func(r *Rig) *[]RigPort { return &r.Ports }, func(p *RigPort) *string { return &p.Name }), "Serial lines."),
	may("modules", named(moduleFields, aModule, maxRigThings, func(r *Rig) *[]RigModule { return &r.Modules }, func(m *RigModule) *string { return &m.Name }), "Devices on them."),
	may("points", listOf(section(pointFields, self), func(r *Rig) *[]RigPoint { return &r.Points }, maxRigThings), "Which relay, input or register is what."),
	may("calibration", text(func(r *Rig) *string { return &r.Cal }), "File with the calibration of the decade."),
	may("supply", section(supplyFields, func(r *Rig) *RigSupply { return &r.Supply }), "Relay that feeds the unit under test."),
}

var supplyFields = fields[RigSupply]{
	must("module", refer(func(s *RigSupply) *string { return &s.Module }, aModule), "Relay module."),
	must("point", count(func(s *RigSupply) *int { return &s.Point }, 0, 65535), "Number of the relay."),
	may("boot", duration(func(s *RigSupply) *time.Duration { return &s.Boot }), "Longest time from supply to the unit's first scan."),
}

var portFields = fields[RigPort]{
	must("device", text(func(p *RigPort) *string { return &p.Device }), "Path of the port, or tcp://host:port."),
	must("baud", count(func(p *RigPort) *int { return &p.Baud }, 50, 4_000_000), "Bits a second."),
	must("frame", matching(`^[5-8][NEO][12]$`, "8E1", "a frame", func(p *RigPort, m []string) { p.Frame = m[0] }), "Data bits, parity, stop bits."),
}

var moduleFields = fields[RigModule]{
	must("port", refer(func(m *RigModule) *string { return &m.Port }, aPort), "Line that it is on."),
	must("kind", oneOf(func(m *RigModule) *string { return &m.Kind }, "relays", "inputs", "resistance", "scpi-decade", "scpi-meter"), "What it is."),
	may("address", count(func(m *RigModule) *int { return &m.Address }, 1, 247), "On the bus."),
	may("identify", text(func(m *RigModule) *string { return &m.Identify }), "Identification that it must give."),
	may("serial", text(func(m *RigModule) *string { return &m.Serial }), "Serial number."),
	may("calibration_due", text(func(m *RigModule) *string { return &m.CalDue }), "Date until which its calibration holds."),
	may("turnaround", duration(func(m *RigModule) *time.Duration { return &m.Turnaround }), "Longest time until it answers."),
	may("operate_max", duration(func(m *RigModule) *time.Duration { return &m.OperateMax }), "relays: longest time from command to contact."),
	may("time_out", duration(func(m *RigModule) *time.Duration { return &m.TimeOut }), "relays: they fall after this silence."),
	may("break_time", duration(func(m *RigModule) *time.Duration { return &m.BreakTime }), "scpi-decade: how long a step may open or short the terminals."),
	may("commands", freeTexts[RigModule]{func(m *RigModule) *map[string]string { return &m.Commands }}, "Command templates by name."),
}

var pointFields = fields[RigPoint]{
	must("name", refer(func(p *RigPoint) *string { return &p.Name }, aChannel|anInput|anOutput), "Channel, input or output."),
	must("module", refer(func(p *RigPoint) *string { return &p.Module }, aModule), "Module that it is wired to."),
	must("point", count(func(p *RigPoint) *int { return &p.Point }, 0, 65535), "Number of the relay, input or register."),
	must("use", oneOf(func(p *RigPoint) *string { return &p.Use }, "drives", "reads", "series-break", "short", "bridge", "loopback"), "What it does there."),
	may("unit", text(func(p *RigPoint) *string { return &p.Unit }), "Unit of a register's value."),
	may("resistor", ohms(func(p *RigPoint) *monitor.Microohm { return &p.Resistor }), "Fixed resistor that this relay puts across the channel's terminals."),
}
