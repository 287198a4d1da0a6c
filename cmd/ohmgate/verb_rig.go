package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
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

func rigVerb() *cobra.Command {
	o := &rigOptions{}
	verb := &cobra.Command{
		Use:   "rig SITE SCENARIO | rig --twin SITE | rig --check RECORD",
		Short: "Play a scenario against hardware and measure honestly",
		Long: `rig plays the plant of a scenario to a unit under test: its relays are the
clamps, buttons and end switches, its inputs read the unit's contacts. Every
time is an interval. Before: wiring self-test, loop-back latency, proof that the
relays fall when the program goes silent. After, on every path: relays open,
read back.

  --stimulate  the program plays the plant, and judges the unit (default)
  --stand-in   real readings in, this logic drives the relays
  --listen     moves nothing, records what the inputs and transmitters say

--coverage says what of the verified graph the records of a bench have seen;
--gaps writes scenarios for the rest. Runs on the twin count only with --twin.

With --twin the same happens on pseudo-terminals, without any hardware; with a
site alone, rig --twin SITE offers the terminals until it is interrupted.

` + caution,
	}
	o.flags(verb)
	verb.RunE = func(verb *cobra.Command, args []string) error {
		out, errs := verb.OutOrStdout(), verb.ErrOrStderr()
		if o.wrong == "list" {
			return listWrong(out)
		}
		if err := misplaced(verb, args); err != nil {
			return err
		}
		checks, decodes := verb.Flags().Changed("check"), verb.Flags().Changed("decode")
		switch {
		case checks && len(args) > 0:
			return failed(exitInput, "%s; leave out %q", checksRecord.what, args[0])
		case decodes && len(args) > 0:
			return failed(exitInput, "%s; leave out %q", decodesBus.what, args[0])
		case checks:
			return checkRecord(out, o, verb.Flags().Changed("head"))
		case decodes:
			return decodeRecording(out, &o.decode, o.json)
		case o.coverage || o.gaps != "":
			return coverVerb(out, o, args)
		case o.twin && len(args) == 1:
			return offerTwin(verb.Context(), out, args[0], o)
		case len(args) != 2:
			return failed(exitInput, "name a site and a scenario: ohmgate rig SITE SCENARIO")
		}
		return runRig(verb.Context(), out, errs, args[0], args[1], o)
	}
	return verb
}

func (o *rigOptions) flags(verb *cobra.Command) {
	f := verb.Flags()
	f.BoolVar(&o.stimulate, "stimulate", false, "play the plant to a unit under test (default)")
	f.BoolVar(&o.standIn, "stand-in", false, "let this logic stand in for the unit")
	f.BoolVar(&o.listen, "listen", false, "move nothing, only record")
	verb.MarkFlagsMutuallyExclusive("stimulate", "stand-in", "listen")
	f.BoolVar(&o.twin, "twin", false, "use pseudo-terminals in the place of hardware")
	f.StringVar(&o.wrong, "wrong", "", "twin: put a wrong unit under test; \"list\" names them")
	f.StringArrayVar(&o.ports, "port", nil, "`NAME=DEVICE`: another device than the site's for this port")
	f.StringVar(&o.confirm, "confirm", "", "what must be said before hardware moves: \""+confirmation+"\"")
	f.BoolVar(&o.restarted, "unit-restarted", false, "the unit has just been switched on by hand (no supply relay)")
	f.StringVar(&o.record, "record", "", "add the test sheets to this `file` (needed with hardware)")
	f.StringVar(&o.frames, "frames", "", "record every byte on the lines with its time to this `file`")
	f.IntVar(&o.runs, "runs", 1, "play it so many times, at spread phases")
	f.IntVar(&o.edges, "edges", bench.LeastEdges, "edges of the loop-back run")
	f.Uint64Var(&o.seed, "seed", 0, "seed of the loop-back run's random phases; 0: a new one")
	f.Float64Var(&o.confidence, "confidence", 95, "confidence of statements in `per cent`")
	f.StringVar(&o.tester, "tester", "", "`name` for the sheet")
	f.StringVar(&o.witness, "witness", "", "`name` for the sheet")
	f.StringVar(&o.temperature, "temperature", "", "`temperature` at the bench, such as \"21 °C\"")
	f.StringVar(&o.humidity, "humidity", "", "relative `humidity`, such as \"45 %\"")
	f.StringVar(&o.condition, "condition", "as found", "\"as found\" or \"as left\"")
	f.StringVar(&o.remark, "remark", "", "`text` for the sheet")
	f.BoolVar(&o.json, "json", false, "print one JSON report")
	f.StringVar(&o.junit, "junit", "", "write the sheets as JUnit XML to this `file`")
	f.StringVar(&o.page, "page", "", "write the sheets as a page for printing to this `file`")
	f.StringVar(&o.table, "table", "", "write the sheets as CSV to this `file`")
	f.StringVar(&o.check, "check", "", "check that no byte of this `record` was changed")
	f.BoolVar(&o.coverage, "coverage", false, "SITE RECORD...: what of the verified graph the records have seen")
	f.StringVar(&o.gaps, "gaps", "", "SITE RECORD...: write scenarios for the rest into this `directory`")
	f.StringVar(&o.head, "head", "", "check: the last `hash`, as on the signed page")
	o.analyserFlags(verb)
	o.decode.flags(verb)
	o.recording = recordTo(verb)
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
