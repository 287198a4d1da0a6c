package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ohmgate/cmd/ohmgate/coverage"
	"ohmgate/hwio/record"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/graph"
	"ohmgate/sim"
)

// confirmation is what somebody has to say before a relay of real hardware moves; it stands in the record.
const confirmation = "bench, safe area, not on a live intrinsically safe circuit"

// rigOptions is what the command line asks of the verb.
type rigOptions struct {
	stimulate, standIn, listen    bool
	twin                          bool
	wrong                         string
	ports                         []string
	confirm                       string
	restarted                     bool
	record, frames                string
	runs, edges                   int
	seed                          uint64
	confidence                    float64
	tester, witness, remark       string
	temperature, humidity         string
	condition                     string
	json                          bool
	junit, page, table            string
	check, head                   string
	coverage                      bool
	gaps                          string
	analyser, stimulus, response  string
	stimulusAt, responseAt, bound string
	sample                        string
	recording                     *recordFlags
	gate                          *gatedPlant // twin, stand-in and listen
	decode                        decodeOptions
	warnings                      []string // of the dry run
}

// newRigOptions are what holds where nothing is said.
func newRigOptions() *rigOptions {
	return &rigOptions{runs: 1, edges: bench.LeastEdges, confidence: 95, condition: "as found", bound: "20 ms", recording: &recordFlags{}}
}

func rigVerbs() []*verb {
	o := newRigOptions()
	all := o.flags()
	whole := &verb{
		name: "rig", args: "SITE SCENARIO", asks: "Does the hardware? Measured as intervals, with test sheets; --twin needs none",
		about: `rig plays the plant of a scenario to a unit under test: its relays are the
clamps, buttons and end switches, its inputs read the unit's contacts. Every
time is an interval. Before: wiring self-test, loop-back latency, proof that the
relays fall when the program goes silent. After, on every path: relays open,
read back.

  --stimulate  the program plays the plant, and judges the unit (default)
  --stand-in   real readings in, this logic drives the relays
  --listen     moves nothing, records what the inputs and transmitters say

With --twin the same happens on pseudo-terminals, without any hardware.`,
		flags: slices.Concat(all.only("stimulate stand-in listen twin wrong port confirm unit-restarted record frames runs edges seed confidence"),
			all.only(sheetFlags), all.only("json"), all.only(exportFlags), o.recording.flags()),
		old:   all.only("check head coverage gaps analyser stimulus response cause output sample bounce decode line master"),
		apart: []string{"stimulate", "stand-in", "listen"}, count: cobra.ArbitraryArgs,
		ends: ends{
			exitShown: "every step is consistent with the logic and its bounds", exitViolated: "the unit did something else, or took too long; or the logic does not do what is expected",
			exitIncomplete: "an interval straddles its bound, or the run was cut short", exitNothing: "no step was judged, or an expectation was never exercised",
			exitLost: "rig, line or record lost; the state of the rig is said",
		},
		report: "ohmgate rig 3", example: "rig --twin testdata/rig/bench_siding.yaml testdata/rig/pulled.yaml",
	}
	verbs := append([]*verb{whole}, o.closer(all)...)
	whole.run = func(c *cobra.Command, args []string) error { return o.asked(c, args, verbs) }
	return verbs
}

// What is noted on a sheet, and what is made of sheets.
const (
	sheetFlags  = "tester witness temperature humidity condition remark"
	exportFlags = "junit page table"
)

// asked does what the flags ask for.
func (o *rigOptions) asked(c *cobra.Command, args []string, verbs []*verb) error {
	out := c.OutOrStdout()
	if o.wrong == "list" {
		return listWrong(out)
	}
	if err := misplaced(c, args, verbs); err != nil {
		return err
	}
	for _, v := range verbs {
		if (v.asked == "check" || v.asked == "decode") && c.Flags().Changed(v.asked) && len(args) > 0 {
			return failed(exitInput, "%s; leave out %q", v.instead, args[0])
		}
	}
	switch {
	case c.Flags().Changed("check"):
		return checkRecord(out, o, c.Flags().Changed("head"))
	case c.Flags().Changed("decode"):
		return decodeRecording(out, &o.decode, o.json)
	case o.coverage || o.gaps != "":
		return coverVerb(out, o, args)
	case o.twin && len(args) == 1:
		return offerTwin(c.Context(), out, args[0], o)
	case len(args) != 2:
		return failed(exitInput, "name a site and a scenario: ohmgate rig SITE SCENARIO")
	}
	return runRig(c.Context(), out, c.ErrOrStderr(), args[0], args[1], o)
}

// closer are the verbs that look closer. None of them moves anything.
func (o *rigOptions) closer(all flags) []*verb {
	return append(o.ofRecords(all), o.ofLines(all)...)
}

// ofRecords are the verbs that read what the bench has written.
func (o *rigOptions) ofRecords(all flags) []*verb {
	return []*verb{{
		name: "rig check", args: "RECORD", asks: "Is a record of test sheets as it was written, to the end?",
		about: `check finds any byte of the test sheets that was changed. Entries that were cut
off, or a record that was made anew, show only against the hash on the signed
page: --head. Runs that were added later are named.`,
		flags: append(all.only("head json"), all.only(exportFlags)...), asked: "check", instead: "--check reads a record and plays nothing",
		ends:   ends{exitShown: "the record is whole", exitViolated: "it was changed, or does not belong to the page", exitIncomplete: "a run or a series has no end, or a line was never finished"},
		report: "ohmgate record check 1", example: "rig check bench.record",
		run: func(c *cobra.Command, args []string) error {
			o.check = args[0]
			return checkRecord(c.OutOrStdout(), o, c.Flags().Changed("head"))
		},
	}, {
		name: "rig coverage", args: "SITE [RECORD...]", asks: "What of the verified graph has the bench seen, what not, what can it not?",
		about: "coverage counts the runs on hardware in which every judged step was consistent;\nwith --twin those on the twin.",
		flags: all.only("twin json"), asked: "coverage", instead: "--coverage reads records and plays nothing",
		ends:   ends{exitShown: "all that this bench can show was seen", exitIncomplete: "some was not seen", exitNothing: "this bench judges no output"},
		report: "ohmgate coverage 1", example: "rig coverage testdata/rig/bench_siding.yaml",
		run: func(c *cobra.Command, args []string) error { return sayCoverage(c.OutOrStdout(), args, o) },
	}, {
		name: "rig gaps", args: "DIR SITE [RECORD...]", asks: "Which scenarios show what the bench has not seen yet?",
		about: `gaps writes scenario files into a directory, the shortest first. Each was
simulated, really passes through its gap, and ends with a unit that was seen alive.`,
		flags: all.only("twin json"), asked: "gaps", instead: "--gaps reads records and plays nothing",
		ends:   ends{exitShown: "every gap has its scenario", exitIncomplete: "some gaps stay open", exitNothing: "this bench judges no output, or can show nothing of it"},
		report: "ohmgate gaps 1", example: "rig gaps build/gaps testdata/rig/bench_siding.yaml",
		run: func(c *cobra.Command, args []string) error {
			o.gaps = args[0]
			return writeGaps(c.OutOrStdout(), o, args[1:])
		},
	}}
}

// ofLines are the verbs about what was on a line, or may be put on one.
func (o *rigOptions) ofLines(all flags) []*verb {
	return []*verb{{
		name: "rig analyse", args: "SITE SCENARIO FILE", asks: "What does a logic analyser's record say, where milliseconds matter?",
		about: `analyse judges a record of a logic analyser, CSV or VCD. A change came any time
since the row before, unless --sample says how often a record that has rows only
for changes was sampled.`,
		flags: slices.Concat(all.only("stimulus response cause output bounce sample record confidence"), all.only(sheetFlags), all.only("json"), all.only(exportFlags)),
		asked: "analyser", instead: "--analyser reads a record and plays nothing",
		ends:   ends{exitShown: "every response is within its bound", exitViolated: "one is not", exitIncomplete: "an interval straddles its bound", exitNothing: "the record holds no stimulus"},
		report: "ohmgate rig 3", example: "rig analyse testdata/rig/bench_siding.yaml testdata/rig/pulled.yaml capture.csv --stimulus clamp:rise --response valve:fall --cause bond_1:open",
		run: func(c *cobra.Command, args []string) error {
			o.analyser = args[2]
			return runRig(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), args[0], args[1], o)
		},
	}, {
		name: "rig decode", args: "FILE", asks: "What was said on a Modbus line: questions, answers, times?",
		about: `decode reads a recording of a bus: bytes as CSV (columns, units, decimal comma,
hex or decimal as the instrument exports them), levels as CSV or VCD, or the
--frames of a run.`,
		flags: all.only("line master json"), asked: "decode", instead: "--decode reads a recording and plays nothing",
		ends:   ends{exitShown: "every frame is whole, every question has its answer", exitViolated: "frames are damaged or questions have no answer", exitNothing: "no question that this program knows"},
		report: "ohmgate bus 2", example: "rig decode line.csv --line \"19200 8E1\"",
		run: func(c *cobra.Command, args []string) error {
			o.decode.file = args[0]
			return decodeRecording(c.OutOrStdout(), &o.decode, o.json)
		},
	}, {
		name: "rig twin", args: "SITE", asks: "How does another program talk to a bench that is not there?",
		about: "twin offers the site's rig on pseudo-terminals until it is interrupted.",
		flags: all.only("wrong"), asked: "twin", instead: "rig --twin SITE only offers terminals; with a scenario it plays",
		ends: ends{exitShown: "it ended when told to"}, example: "rig twin testdata/rig/bench_siding.yaml",
		run: func(c *cobra.Command, args []string) error {
			return offerTwin(c.Context(), c.OutOrStdout(), args[0], o)
		},
	}}
}

// flags are all that the verb and those that look closer have, each once.
func (o *rigOptions) flags() flags {
	return slices.Concat(flags{
		{name: "stimulate", into: &o.stimulate, help: "play the plant to a unit under test (default)"},
		{name: "stand-in", into: &o.standIn, help: "let this logic stand in for the unit"},
		{name: "listen", into: &o.listen, help: "move nothing, only record"},
		{name: "twin", into: &o.twin, help: "pseudo-terminals in the place of hardware"},
		{name: "wrong", into: &o.wrong, help: "put this wrong `unit` on the twin; \"list\" names them"},
		{name: "port", into: every{&o.ports}, help: "`NAME=DEVICE`: another device than the site's for this port"},
		{name: "confirm", into: &o.confirm, help: "`what` must be said before hardware moves: \"" + confirmation + "\""},
		{name: "unit-restarted", into: &o.restarted, help: "the unit has just been switched on by hand (no supply relay)"},
		{name: "record", into: &o.record, help: "add the test sheets to this `file` (needed with hardware)"},
		{name: "frames", into: &o.frames, help: "record every byte on the lines with its time to this `file`"},
		{name: "runs", into: &o.runs, help: "play it so many `times`, at spread phases"},
		{name: "edges", into: &o.edges, help: "`edges` of the loop-back run"},
		{name: "seed", into: &o.seed, help: "`seed` of the loop-back run's random phases; 0: a new one"},
		{name: "confidence", into: &o.confidence, help: "confidence of statements in `per cent`"},
		{name: "json", into: &o.json, help: "print one JSON report"},
		{name: "check", into: &o.check, help: "check that no byte of this `record` was changed"},
		{name: "coverage", into: &o.coverage, help: "SITE RECORD...: what of the verified graph the records have seen"},
		{name: "gaps", into: &o.gaps, help: "SITE RECORD...: write scenarios for the rest into this `directory`"},
		{name: "head", into: &o.head, help: "the last `hash`, as on the signed page"},
	}, o.sheetFlags(), o.analyserFlags(), o.decode.flags())
}

// sheetFlags are what is noted on a sheet, and what is made of sheets.
func (o *rigOptions) sheetFlags() flags {
	return flags{
		{name: "tester", into: &o.tester, help: "`name` for the sheet"},
		{name: "witness", into: &o.witness, help: "`name` for the sheet"},
		{name: "temperature", into: &o.temperature, help: "`temperature` at the bench, such as \"21 °C\""},
		{name: "humidity", into: &o.humidity, help: "relative `humidity`, such as \"45 %\""},
		{name: "condition", into: &o.condition, help: "`words` for the sheet: \"as found\" or \"as left\"", words: []string{"as found", "as left"}},
		{name: "remark", into: &o.remark, help: "`text` for the sheet"},
		{name: "junit", into: &o.junit, help: "write the sheets as JUnit XML to this `file`"},
		{name: "page", into: &o.page, help: "write the sheets as a page for printing to this `file`"},
		{name: "table", into: &o.table, help: "write the sheets as CSV to this `file`"},
	}
}

// mode is what the flags ask for.
func (o *rigOptions) mode() wiring.Mode {
	switch {
	case o.standIn:
		return wiring.StandIn
	case o.listen:
		return wiring.Listen
	}
	return wiring.Stimulate
}

// rigFiles is what the files say.
type rigFiles struct {
	site     *site.Site
	scenario *sim.Scenario
	logic    *interlock.Config
	wires    *wiring.Map
}

// readRig reads everything before anything moves.
func readRig(siteFile, scenarioFile string) (*rigFiles, error) {
	s, problems := site.Read(siteFile)
	if problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	made := &rigFiles{site: s}
	if made.logic, problems = s.Logic(); problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	if made.wires, problems = wiring.Read(s); problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	if scenarioFile == "" {
		return made, nil
	}
	if made.scenario, problems = sim.ReadScenario(scenarioFile, s); problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	return made, nil
}

// plant is a fresh plant of the scenario.
func (f *rigFiles) plant() (loop.Source, uint64) {
	p, zero, length := sim.Prepare(f.site, f.logic, f.scenario, f.scenario.Seed)
	return p, zero + length
}

// runRig is the verb proper.
func runRig(ctx context.Context, out, errs io.Writer, siteFile, scenarioFile string, o *rigOptions) error {
	files, err := readRig(siteFile, scenarioFile)
	if err != nil {
		return cmp.Or(swapped(siteFile, scenarioFile), err)
	}
	if o.analyser != "" {
		return runAnalyser(out, files, o)
	}
	order, err := o.order(files)
	if err != nil {
		return err
	}
	book, before, err := o.book()
	if err != nil {
		return failed(exitLost, "%w", err)
	}
	order.Head.Retest = retests(before, order.Head.Scenario)
	order.Head.Notes = append(order.Head.Notes, brokenOff(before)...)
	closeFrames, err := o.recordFrames(order)
	if err != nil {
		return failed(exitLost, "%w", err)
	}
	ending, err := o.openTwin(orBackground(ctx), files, order)
	if err != nil {
		return err
	}
	defer ending()
	if !o.json {
		order.Progress = func(text string) { fmt.Fprintf(errs, "rig: %s\n", text) }
	}
	for _, text := range o.warnings {
		page.On(errs).Wrap("rig: mind: ", text, 11)
	}
	ctx, stop := watchSignals(ctx)
	report := rig.Perform(ctx, *order, book)
	stop()
	if err := closeFrames(); err != nil {
		report.Trouble = strings.TrimPrefix(report.Trouble+"; "+err.Error(), "; ")
		report.Exit = worse(report.Exit, exitLost)
	}
	return o.finish(out, files, order, book, report)
}

// watchSignals calls a run off at the first signal. Further ones are swallowed until the relays are open and read back: an
// impatient second Ctrl-C must not leave them closed.
func watchSignals(ctx context.Context) (context.Context, func()) {
	ctx, cancel := context.WithCancelCause(orBackground(ctx))
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT)
	signal.Ignore(deadly...)
	done := make(chan struct{})
	go func() {
		for {
			select {
			case s := <-signals:
				cancel(fmt.Errorf("interrupted by signal %v", s))
			case <-done:
				return
			}
		}
	}()
	return ctx, func() {
		signal.Stop(signals)
		close(done)
		cancel(nil)
	}
}

func orBackground(ctx context.Context) context.Context {
	if ctx == nil {
		return context.Background()
	}
	return ctx
}

// order is what is to be done, refused where it cannot be.
func (o *rigOptions) order(f *rigFiles) (*rig.Order, error) {
	if err := o.ambient(); err != nil {
		return nil, err
	}
	if err := o.sensible(f); err != nil {
		return nil, err
	}
	mode := o.mode()
	if problems := f.wires.CheckLoad(mode); problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	_, scans := f.plant()
	order := &rig.Order{
		Map: f.wires, Logic: f.logic, Mode: mode, Runs: o.runs, Edges: o.edges, Seed: o.seed, Alpha: 1 - o.confidence/100, Scans: scans,
		New: func() (loop.Source, error) { p, _ := f.plant(); return p, nil }, Settings: bench.Settings{Devices: map[string]string{}},
		Watch: o.watch(f),
	}
	if order.Seed == 0 {
		order.Seed = rig.RandomSeed()
	}
	switch mode {
	case wiring.Stimulate:
		source, _ := f.plant()
		demand, err := stimulus.DryRun(f.wires, f.logic, source, time.Now())
		if err != nil {
			return nil, failed(exitInput, "%w", err)
		}
		order.Changes, o.warnings = demand.Changes, demand.Warnings
	case wiring.StandIn:
		if err := f.wires.FitToStandIn(f.logic); err != nil {
			return nil, failed(exitInput, "%w", err)
		}
	}
	o.warnings = append(o.warnings, f.wires.Overdue(time.Now())...)
	if mode == wiring.Stimulate || mode == wiring.StandIn && o.twin { // else the plant is real: nobody plays its faults
		order.Faults = f.faults()
	}
	for _, text := range o.ports {
		name, device, ok := strings.Cut(text, "=")
		if !ok || !hasPort(f.site, name) {
			return nil, failed(exitInput, "--port %q names no port of the site; write %s", text, portExample(f.site))
		}
		order.Settings.Devices[name] = device
	}
	covers, err := f.bench()
	if err != nil {
		return nil, err
	}
	order.Sight = covers.Observer
	if order.Verified, err = verifiedBounds(f.site, f.wires.Judged()); err != nil {
		return nil, err
	}
	if err := o.expects(f, order); err != nil {
		return nil, err
	}
	order.Head = o.sheetHead(f, order)
	return order, nil
}

// faults are those of the scenario, each with where it happens: names of the site, or the logic itself.
func (f *rigFiles) faults() (list []string) {
	for i := range f.scenario.Faults {
		one := &f.scenario.Faults[i]
		where := one.On
		if one.Fault.On == fault.OnLogic {
			where = []string{fault.OnLogic.String()}
		}
		for _, name := range where {
			list = append(list, graph.FaultText(one.Fault.Name, name))
		}
	}
	return list
}

func hasPort(s *site.Site, name string) bool {
	for i := range s.Rig.Ports {
		if s.Rig.Ports[i].Name == name {
			return true
		}
	}
	return false
}

func portExample(s *site.Site) string {
	var list []string
	for i := range s.Rig.Ports {
		list = append(list, s.Rig.Ports[i].Name+"=/dev/ttyUSB0")
	}
	return strings.Join(list, " or ")
}

// sensible refuses what the command line cannot mean.
func (o *rigOptions) sensible(f *rigFiles) error {
	switch {
	case o.runs < 1 || o.runs > 100_000:
		return failed(exitInput, "--runs %d is not from 1 to 100000", o.runs)
	case o.edges < 2 || o.edges > 1_000_000:
		return failed(exitInput, "--edges %d is not from 2 to 1000000", o.edges)
	case !(o.confidence > 0 && o.confidence < 100):
		return failed(exitInput, "--confidence %g is not between 0 and 100; write 95", o.confidence)
	case o.condition != "as found" && o.condition != "as left":
		return failed(exitInput, "--condition %q; write \"as found\" or \"as left\"", o.condition)
	case o.wrong != "" && !o.twin:
		return failed(exitInput, "--wrong needs --twin: hardware under test is what it is")
	case o.twin && len(o.ports) > 0:
		return failed(exitInput, "--twin brings its own lines; leave out --port, or leave out --twin")
	case f.scenario.Begin == sim.Running:
		return failed(exitInput, "%s: begin: running presses every button for the shortest time that counts, and a bus cannot copy that\nto the scan; begin at power-up and write the presses as steps", f.scenario.File)
	case o.twin:
		return nil
	case o.record == "":
		return failed(exitInput, "a run on hardware needs a record; write --record FILE")
	case o.mode() != wiring.Listen && o.confirm != confirmation:
		return failed(exitInput, "say that the rig may move; write --confirm %q", confirmation)
	case o.mode() == wiring.Stimulate && f.wires.Supply == nil && !o.restarted:
		return failed(exitInput, "the scenario begins at power-up and no relay feeds the unit; add supply: to the rig map,\nor switch the unit off and on yourself and write --unit-restarted")
	}
	return nil
}

// sheetHead is what the sheets say of who, where and with what.
func (o *rigOptions) sheetHead(f *rigFiles, order *rig.Order) sheet.Head {
	head := sheet.Head{
		Site: f.site.Name, SiteHash: f.site.Hash, Scenario: f.scenario.Name, ScenarioHash: f.scenario.Hash, Tool: toolVersion(),
		Condition: o.condition, Tester: o.tester, Witness: o.witness, Temperature: o.temperature, Humidity: o.humidity,
		Confirmed: o.confirm, Remark: o.remark, Notes: []string{},
	}
	head.Notes = append(head.Notes, o.warnings...)
	load := f.wires.Load()
	head.Notes = append(head.Notes, fmt.Sprintf("one cycle of the bus takes %.1f ms on the wire", load.Cycle.Seconds()*1000))
	head.Notes = append(head.Notes, fmt.Sprintf("loop-back run: %d edges, seed %d", order.Edges, order.Seed))
	if c := f.wires.Cal; c != nil {
		head.Notes = append(head.Notes, fmt.Sprintf("calibration %s of %s, due %s, sha256 %s", c.Instrument, c.Date.Format(time.DateOnly), c.Due.Format(time.DateOnly), c.Hash))
	}
	if o.twin {
		head.Twin, head.Confirmed = coverage.OwnTwin, "twin, no hardware: nothing to confirm"
		if o.wrong != "" {
			head.Twin = "wrong unit: " + o.wrong
		}
	} else if f.wires.Supply == nil {
		head.Notes = append(head.Notes, "the unit was switched on by hand; times counted from power-up are not exact")
	}
	return head
}

// retests is how many finished or broken-off first runs of a scenario a record holds already.
func retests(before []sheet.Sheet, scenario string) (count int) {
	for i := range before {
		if before[i].Head.Scenario == scenario && before[i].Head.Run == 1 {
			count++
		}
	}
	return count
}

// book opens the record; without one the sheets live only in what is printed.
func (o *rigOptions) book() (*sheet.Book, []sheet.Sheet, error) {
	if o.record == "" {
		return sheet.NewBook(nowhere{io.Discard}), nil, nil
	}
	return sheet.Open(o.record)
}

// nowhere is a record that nobody keeps.
type nowhere struct{ io.Writer }

// Close has nothing to close.
func (nowhere) Close() error { return nil }

// recordFrames taps all lines, if asked to. What it returns closes the file, and says if not everything is in it.
func (o *rigOptions) recordFrames(order *rig.Order) (func() error, error) {
	if o.frames == "" {
		return func() error { return nil }, nil
	}
	file, err := os.OpenFile(o.frames, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, err
	}
	tap := record.NewRecorder(file)
	order.Settings.Tap = tap.Tap
	return func() error { return errors.Join(tap.Err(), file.Close()) }, tap.Err()
}
