package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/analyse"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
)

// analyserFlags are what has to be said of an analyser's record.
func (o *rigOptions) analyserFlags() flags {
	return flags{
		{name: "analyser", into: &o.analyser, help: "judge a logic analyser's record (CSV or VCD) in this `file`; moves nothing"},
		{name: "stimulus", into: &o.stimulus, help: "`LINE:rise` or LINE:fall is the stimulus"},
		{name: "response", into: &o.response, help: "`LINE:fall` or LINE:rise is the response"},
		{name: "cause", into: &o.stimulusAt, help: "what the stimulus is, `CHANNEL:CLASS`, such as bond_1:open"},
		{name: "output", into: &o.responseAt, help: "`name` of the output that responds, where the site has several"},
		{name: "sample", into: &o.sample, help: "the sample `period`, where the record has rows only for changes"},
		{name: "bounce", into: &o.bound, help: "edges within this `time` behind a stimulus belong to it"},
	}
}

// runAnalyser judges what an analyser saw. It needs neither rig nor twin: the stimuli may come from a run of rig, or from a
// hand at the clamp.
func runAnalyser(out io.Writer, f *rigFiles, o *rigOptions) error {
	test, err := o.analyserTest(f)
	if err != nil {
		return err
	}
	file, err := os.Open(o.analyser)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	defer file.Close()
	capture, err := analyse.ReadCapture(o.analyser, file)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	if o.sample != "" {
		period, err := timeFlag("--sample", o.sample)
		if err != nil {
			return err
		}
		if period == 0 {
			return failed(exitInput, "--sample %s: no analyser samples without a pause; write such as \"10 us\"", o.sample)
		}
		if err := capture.Sampled(period); err != nil {
			return failed(exitInput, "%s: %w", o.analyser, err)
		}
	}
	steps, err := capture.Measure(test)
	if err != nil {
		return failed(exitInput, "%s: %w", o.analyser, err)
	}
	report := &rig.Report{
		Instruments: []sheet.Instrument{}, Statements: []string{}, RigState: sheet.StateUnmoved, Verdict: judge.Verdict(steps),
		Checks: []sheet.Inspection{{Name: "analyser's record", Verdict: verdict.Shown, Text: fmt.Sprintf("%s: %s; %s", o.analyser, stimuli(len(steps)), capture.Assumed()), Details: []string{}}},
	}
	run := rig.Run{Number: 1, Steps: steps, Verdict: report.Verdict, RigState: sheet.StateUnmoved, Reason: "read to the end", Heard: []string{}, Seen: []string{}}
	report.Runs = []rig.Run{run}
	report.Exit = report.Verdict.Exit()
	for name, times := range judge.Trips(steps) {
		slowest := 0.0
		for _, one := range times {
			slowest = max(slowest, one)
		}
		report.Statements = append(report.Statements, judge.Statement(name, len(times), time.Duration(slowest*float64(time.Millisecond)), 1-o.confidence/100))
	}
	return o.finishAnalyser(out, f, report)
}

func (o *rigOptions) finishAnalyser(out io.Writer, f *rigFiles, report *rig.Report) error {
	order := &rig.Order{Map: f.wires, Runs: 1, Edges: o.edges}
	order.Head = o.sheetHead(f, order)
	order.Head.Mode, order.Head.Run, order.Head.Runs = "analyser", 1, 1
	order.Head.Notes = []string{"times are those of the analyser; it was not compared with another clock"}
	book, before, err := o.book()
	if err != nil {
		return failed(exitLost, "%w", err)
	}
	order.Head.Retest = retests(before, order.Head.Scenario)
	run := &report.Runs[0]
	err = errors.Join(book.Add(sheet.KindHead, order.Head), book.Add(sheet.KindCheck, report.Checks[0]))
	for i := range run.Steps {
		err = errors.Join(err, book.Add(sheet.KindStep, run.Steps[i]))
	}
	err = errors.Join(err, book.Add(sheet.KindEnd, sheet.End{RigState: run.RigState, Reason: run.Reason, Verdict: run.Verdict, Exit: report.Exit, Steps: len(run.Steps), Statement: strings.Join(report.Statements, " ")}))
	if err != nil {
		return failed(exitLost, "%w", err)
	}
	return o.finish(out, f, order, book, report)
}

func stimuli(count int) string {
	if count == 1 {
		return "1 stimulus"
	}
	return fmt.Sprintf("%d stimuli", count)
}

// timeFlag reads a time that is not negative.
func timeFlag(flag, text string) (time.Duration, error) {
	value, problem := quantity.Single(text, quantity.Time)
	if problem != nil {
		return 0, failed(exitInput, "%s: %w", flag, problem)
	}
	if ns, ok := quantity.Int(value, int64(time.Second)); ok && ns >= 0 {
		return time.Duration(ns), nil
	}
	return 0, failed(exitInput, "%s %q is no whole number of nanoseconds; write such as \"20 ms\"", flag, text)
}

// analyserLacks lists the flags that are missing.
func (o *rigOptions) analyserLacks(f *rigFiles) error {
	var lacks []string
	for _, one := range []struct{ given, example string }{
		{o.stimulus, "--stimulus LINE:rise"}, {o.response, "--response LINE:fall"},
		{o.stimulusAt, "--cause " + f.site.Channels[0].Name + ":open"}, {o.responseAt, "--output " + f.site.Outputs[0].Name},
	} {
		if one.given == "" {
			lacks = append(lacks, one.example)
		}
	}
	if len(lacks) == 0 {
		return nil
	}
	return failed(exitInput, "rig analyse is not told everything; write also such as\n  %s", strings.Join(lacks, " "))
}

// analyserTest is what the flags say of the two lines.
func (o *rigOptions) analyserTest(f *rigFiles) (test analyse.Test, err error) {
	if len(f.site.Outputs) == 1 && o.responseAt == "" {
		o.responseAt = f.site.Outputs[0].Name
	}
	if err := o.analyserLacks(f); err != nil {
		return test, err
	}
	if test.Stimulus, test.StimulusRises, err = edgeFlag("--stimulus", o.stimulus); err != nil {
		return test, err
	}
	if test.Response, test.ResponseRises, err = edgeFlag("--response", o.response); err != nil {
		return test, err
	}
	name, word, _ := strings.Cut(o.stimulusAt, ":")
	channel, output := f.site.ChannelIndex(name), f.site.OutputIndex(o.responseAt)
	if channel < 0 {
		return test, failed(exitInput, "--cause %q names no channel; write such as %s:open", o.stimulusAt, f.site.Channels[0].Name)
	}
	if output < 0 {
		return test, failed(exitInput, "--output %q is no output of the site; write such as %s", o.responseAt, f.site.Outputs[0].Name)
	}
	class := monitor.Class(monitor.Classes)
	for one := monitor.Missing; one <= monitor.High; one++ {
		if one.String() == word {
			class = one
		}
	}
	if class == monitor.Classes {
		return test, failed(exitInput, "--cause %q; write %s:high, :open, :invalid or :missing", o.stimulusAt, name)
	}
	if test.Bounce, err = timeFlag("--bounce", o.bound); err != nil {
		return test, err
	}
	test.Output, test.Meaning = o.responseAt, o.stimulusAt
	test.Bound = judge.NewBounds(f.wires, f.logic, nil).Loss(output, channel, class)
	return test, nil
}

func edgeFlag(flag, text string) (line string, rises bool, err error) {
	line, way, ok := strings.Cut(text, ":")
	if !ok || line == "" || way != "rise" && way != "fall" {
		return "", false, failed(exitInput, "%s %q; write LINE:rise or LINE:fall, with the line's name in the record", flag, text)
	}
	return line, way == "rise", nil
}
