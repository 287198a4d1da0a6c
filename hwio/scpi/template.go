package scpi

import (
	"fmt"
	"regexp"
	"strings"
)

// Template is how one kind of device is spoken to. SCPI agrees on how to ask for identity, errors and status, and on
// how to measure; it has no header for setting a decade. So each device brings its words, in the rig map.
type Template struct {
	// Name is what people call the device.
	Name string
	// Identity is a regular expression that the whole answer to *IDN? must match; empty means: any four fields.
	Identity string
	// Start is sent once after identification, in order; each is followed by SYST:ERR?. Usually *CLS and *RST first.
	Start []Command
	// Set sets the resistance; {ohms} stands for a plain decimal number.
	Set Command
	// ReadSet asks which resistance is set; empty Send: the device cannot tell.
	ReadSet Command
	// Measure asks for one resistance in ohms.
	Measure Command
	// Overload is how this device says "beyond my range".
	Overload Overload
	// ErrorQuestion asks for the oldest complaint; default "SYST:ERR?". "-" means that the device has no such question,
	// which every record of its use then says.
	ErrorQuestion string
	// End is what the device wants behind each line; default "\n".
	End string
}

// Command is one line to the device and what must come back.
type Command struct {
	Send string
	// Expect is a regular expression for the whole answer; empty: no answer is due. An order that a device confirms
	// ("OK") has one too.
	Expect string
}

// noErrorQuestion marks a device without an error queue.
const noErrorQuestion = "-"

// WithDefaults fills what the standard says.
func (t Template) WithDefaults() Template {
	if t.ErrorQuestion == "" {
		t.ErrorQuestion = "SYST:ERR?"
	}
	if t.End == "" {
		t.End = "\n"
	}
	return t
}

// Check lists what is wrong with a template.
func (t Template) Check() []error {
	var wrong []error
	complain := func(format string, args ...any) {
		wrong = append(wrong, fmt.Errorf("device %q: "+format, append([]any{t.Name}, args...)...))
	}
	if _, err := wholeMatch(t.Identity); err != nil {
		complain("identity: %v", err)
	}
	commands := map[string]Command{"set": t.Set, "read set": t.ReadSet, "measure": t.Measure}
	for index, command := range t.Start {
		commands[fmt.Sprintf("start %d", index+1)] = command
	}
	for _, name := range sortedKeys(commands) {
		command := commands[name]
		if _, err := wholeMatch(command.Expect); err != nil {
			complain("%s: %v", name, err)
		}
		if strings.ContainsAny(command.Send, "\r\n") {
			complain("%s: %q holds a line end: write one line per command", name, command.Send)
		}
		if strings.Contains(command.Send, "?") && command.Expect == "" {
			complain("%s: %q asks, but no answer is expected: give a pattern", name, command.Send)
		}
	}
	if t.Set.Send != "" && !strings.Contains(t.Set.Send, "{ohms}") {
		complain("set: %q has no {ohms} to put the value in", t.Set.Send)
	}
	if t.Set.Send == "" && t.Measure.Send == "" {
		complain("neither set nor measure: what is it for?")
	}
	if t.Overload.From != "" {
		if _, err := ParseDecimal(t.Overload.From); err != nil {
			complain("overload from: %v", err)
		}
	}
	return wrong
}

// wholeMatch compiles a pattern that must match the whole text.
func wholeMatch(pattern string) (*regexp.Regexp, error) {
	expression, err := regexp.Compile(`\A(?:` + pattern + `)\z`)
	if err != nil {
		return nil, fmt.Errorf("pattern %q: %w", pattern, err)
	}
	return expression, nil
}

// Meter is the standard way to ask for a four-wire resistance, for devices that keep to SCPI-99.
func Meter(name string) Template {
	return Template{
		Name:    name,
		Start:   []Command{{Send: "*CLS"}, {Send: "*RST"}, {Send: "CONF:FRES"}},
		Measure: Command{Send: "READ?", Expect: `\S+`},
	}
}
