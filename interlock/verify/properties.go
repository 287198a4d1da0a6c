package verify

import (
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
)

// properties are the promises that every site is verified for. A new one is one
// entry here; what it lacks, the tests of this table say.
var properties = []Property{
	{
		Number: model.PropertyBoot, Title: "no start before every bond was good for its settle time", Needs: needsBond,
		Assumes: []string{"the reading is the truth (object evidence, proof test)"},
		Mutants: []string{"a bond after one scan less of settling", "a bond after one reading less", "settling is left out"},
		Stated:  "3. The channel",
		judge:   (*verification).boot, byCuts: true, observe: (*observer).observeBoot, restsOn: model.PropertyStart.Bit(),
		attack: attack{alone: true},
		Joint:  Joint{judge: bySearchOfAll(model.PropertyBoot)},
		Emitted: Emitted{In: []Stating{InReset}, silent: notCut,
			Asked: "it counts readings by itself, which makes more states than our search has"},
	},
	{
		Number: model.PropertyWithhold, Title: "withheld in the very scan in which its permissive is not true",
		Assumes: []string{"the coil that is written off does stop the actuator (confirmation, proof test)"},
		Mutants: []string{"lost is fit to keep"},
		Stated:  "7. Outputs",
		judge:   (*verification).withhold, observe: (*observer).observeWithhold, carried: carried{by: []string{searchReset, searchWait}}, restsOn: model.PropertyWithhold.Bit(),
		counters: []string{counterInput},
		Joint:    Joint{judge: bySearchOfAll(model.PropertyWithhold)},
		Emitted:  Emitted{In: []Stating{InReset, InWait}},
	},
	{
		Number: model.PropertyStart, Title: "goes enabled only with every needed channel bonded",
		Assumes: []string{"the reading is the truth (object evidence, proof test)"},
		Mutants: []string{"doubtful is fit to start", "the on-delay ends one scan early"},
		Stated:  "7. Outputs",
		judge:   (*verification).start, observe: (*observer).observeStart, carried: carried{by: []string{searchReset, searchWait}}, restsOn: model.PropertyStart.Bit(),
		counters: []string{counterOnDelay},
		Joint:    Joint{judge: bySearchOfAll(model.PropertyStart)},
		Emitted:  Emitted{In: []Stating{InReset, InWait}},
	},
	{
		Number: model.PropertyResponse, Title: "a bad bond stops it in bounded time, whatever came before",
		Assumes: []string{"the scan period stays within its limits (overrun trips)", "the reading turns bad when the bond does (change-of-state test)"},
		Mutants: []string{"a budget of doubt that is one scan larger", "doubtful one scan longer"},
		Stated:  "3. The channel",
		judge:   (*verification).response, byCuts: true, observe: (*observer).observeResponse, restsOn: model.PropertyWithhold.Bit(),
		counters: []string{counterDoubt},
		attack:   attack{ofOne: []onChannel{(*falsifier).lasting, (*falsifier).lingering}},
		Joint:    Joint{judge: bySearchOfAll(model.PropertyResponse)},
		Emitted:  Emitted{In: []Stating{InChannel}, Why: countsScans},
	},
	{
		Number: model.PropertyChatter, Title: "bad in more than half of the readings is not tolerated for ever", Needs: needsBond,
		Assumes: []string{"one reading in every scan is fresh"},
		Mutants: []string{"doubtful one scan longer", "a repeated bad reading spends nothing"},
		unseen:  "it is about what lasts for ever",
		Stated:  "3. The channel",
		judge:   (*verification).chatter, byCuts: true, restsOn: model.PropertyWithhold.Bit(),
		counters: []string{counterDoubt},
		Joint:    Joint{judge: bySearchOfAll(model.PropertyChatter)},
		Emitted:  Emitted{In: []Stating{InChannel}, Why: countsScans},
	},
	{
		Number: model.PropertyPatience, Title: "short dips of one class never trip it", Needs: needsBond,
		Assumes: []string{"between two dips the doubt is repaid, by a good reading in every poll"},
		Mutants: []string{"high spends what missing spends"},
		Stated:  "3. The channel",
		judge:   (*verification).dips, byCuts: true, observe: (*observer).observePatience, restsOn: model.PropertyWithhold.Bit(),
		attack:  attack{ofOne: []onChannel{(*falsifier).dipping}},
		Joint:   Joint{judge: bySearchOfAll(model.PropertyPatience)},
		Emitted: Emitted{In: []Stating{InChannel}, Why: countsScans},
	},
	{
		Number: model.PropertyReset, Title: "no restart without one whole deliberate press of its reset", Needs: needsPress,
		Assumes: []string{"the reset input is wired as declared (test sheet)"},
		Mutants: []string{"a press may be one scan shorter", "an armed reset outlives its conditions"},
		Stated:  "4. Binary inputs",
		judge:   (*verification).reset, observe: (*observer).observeReset, carried: carried{by: []string{searchReset}, needs: needsPress}, restsOn: model.PropertyReset.Bit(),
		counters: []string{counterPress, counterInput},
		Joint:    Joint{judge: bySearchOfAll(model.PropertyReset)},
		Emitted:  Emitted{In: []Stating{InReset}},
	},
	{
		Number: model.PropertyWait, Title: "no start before the whole wait after confirmed end of flow", Needs: needsVessel,
		Assumes: []string{"end switches tell the truth (proof test)", "the valve seals"},
		Mutants: []string{"the wait ends one scan early", "the run-down ends one scan early"},
		Stated:  "6. Vessels: charge memory",
		judge:   (*verification).waits, observe: (*observer).observeWait, carried: carried{by: []string{searchWait}}, restsOn: model.PropertyWait.Bit(),
		counters: []string{counterWait, counterRest, counterAcknowledge, counterFlow, counterRunDown, counterInput},
		Joint:    Joint{search: (*jointly).waits},
		Emitted:  Emitted{In: []Stating{InWait}},
	},
	{
		Number: model.PropertyUnknown, Title: "unknown never helps: what is missing or invalid prolongs no run",
		Assumes: []string{"the instrument says when it is not valid"},
		Mutants: []string{"a vote needs one fewer"},
		Stated:  "11. Expressions",
		judge:   (*verification).unknown, observe: (*observer).observeUnknown,
		attack: attack{shownBy: []model.Property{model.PropertyResponse, model.PropertyBoot, model.PropertyPatience},
			ofOne: []onChannel{(*falsifier).lasting, (*falsifier).lingering}},
		Joint:   Joint{search: (*jointly).unknown},
		Emitted: Emitted{In: []Stating{InChannel}, Why: countsScans},
	},
	{
		Number: model.PropertyUnconfirmed, Title: "an unconfirmed actuator is latched, calls its backup, and is not restarted", Needs: needsReportOrBackup,
		Assumes: []string{"end switches tell the truth (proof test)"},
		Mutants: []string{"the latch of an unconfirmed actuator is lost", "backups are not called"},
		Stated:  "8. Confirmation and backup",
		Sampled: callsOfBackups,
		judge:   (*verification).unconfirmed, observe: (*observer).observeUnconfirmed, carried: carried{by: []string{searchReset}, needs: needsReport}, restsOn: model.PropertyUnconfirmed.Bit(),
		counters: []string{counterTravel, counterInput},
		Joint:    Joint{judge: bySearchOfAll(model.PropertyUnconfirmed), Sampled: callsOfBackups},
		Emitted:  Emitted{In: []Stating{InReset}},
	},
	{
		Number: model.PropertyBypass, Title: "a bypass ends by its time and changes no wait", Needs: needsBypass,
		Assumes: []string{"the key is wired as declared (test sheet)"},
		Mutants: []string{"a bypass lasts one scan longer", "a bypass is renewed without its gap"},
		Stated:  "9. Bypass",
		Sampled: Sampling{What: "each class of bad readings, from one running state"},
		judge:   (*verification).bypasses, observe: (*observer).observeBypass,
		counters: []string{counterBypass, counterInput},
		attack:   attack{ofSite: (*falsifier).bypassing},
		Joint:    Joint{search: (*jointly).bypasses},
		Emitted:  Emitted{In: []Stating{InBypass}, Why: "it counts scans of a bypass"},
	},
	{
		Number: model.PropertyComplete, Title: "each required cause alone trips it, nothing outside its cone touches it",
		Assumes: []string{"channels and inputs are wired as declared (test sheet)"},
		Mutants: []string{"the first channel reads what the second reads"},
		Stated:  "7. Outputs",
		Sampled: Sampling{What: "each cut set, and all that is outside the cone, from one running state"},
		judge:   (*verification).complete, byCuts: true, observe: (*observer).observeComplete,
		Joint:   Joint{judge: (*jointly).complete, Sampled: Sampling{What: "what is outside the cone, from one running state"}},
		Emitted: Emitted{Why: allCauses},
	},
	{
		Number: model.PropertyFirstOut, Title: "first-out names what was not true in the trip scan, until reset",
		Assumes: []string{"within one bus cycle the order is not known"},
		Mutants: []string{"first-out is left empty", "first-out names what was true"},
		Stated:  "10. First-out",
		Sampled: tripsByOneAndTwo,
		judge:   (*verification).firstOut, byCuts: true, observe: (*observer).observeFirstOut,
		Joint:   Joint{judge: (*jointly).firstOut, Sampled: tripsByOneAndTwo},
		Emitted: Emitted{Why: allCauses},
	},
	{
		Number: model.PropertyKick, Title: "the watchdog is kicked only where everything was evaluated",
		Assumes: []string{"the caller writes the outputs before it kicks"},
		Mutants: []string{"the watchdog is never kicked", "coils are written one scan late"},
		Stated:  "12. Order in one scan, and duties",
		Sampled: someScans,
		judge:   (*verification).kick, observe: (*observer).observeKick,
		Joint:   Joint{judge: bySearchOfAll(model.PropertyKick), Taken: "no property of the states: the real Step is asked, as without --joint", Sampled: someScans},
		Emitted: Emitted{Why: "it is about what the caller does"},
	},
	{
		Number: model.PropertyRecovery, Title: "from every state, all well again leads back to enabled",
		Assumes: []string{"plant and people do everything right from then on"},
		Mutants: []string{"a latched actuator never comes back"},
		unseen:  "it is about what never comes",
		Stated:  "7. Outputs",
		judge:   (*verification).recovery,
		attack:  attack{comes: true},
		Joint:   Joint{judge: (*jointly).recovery},
		Emitted: Emitted{In: []Stating{InChannel}, Why: countsScans},
	},
}

// onChannel looks for a run in what one channel can do.
type onChannel = func(h *falsifier, t *table.ChannelTable, channel int) *runs.Run

// bySearchOfAll judges a joint search by the words of the explicit one.
func bySearchOfAll(number model.Property) func(j *jointly) *Result {
	return func(j *jointly) *Result { return j.verification.property(number).judge(j.verification, j.Number) }
}

// Why a property is in no printed model of an output.
const (
	countsScans = "it counts scans that a cell of a counter does not tell apart"
	allCauses   = "it needs all causes at once"
)

// What is sampled in verify and in verify --joint alike.
var (
	callsOfBackups   = Sampling{"the calls of its backup: every latch of the actuator beside one running state of the backup", needsBackup}
	tripsByOneAndTwo = Sampling{What: "trips by one cause and by two, from one running state"}
	someScans        = Sampling{What: "some scans: running, overrun, tripped, the first since power-up"}
)

// notCut: of a channel that does not stop the output alone a start may do without.
func notCut(p *Piece) string {
	if p.Cut {
		return ""
	}
	return "the channel alone does not stop the output"
}
