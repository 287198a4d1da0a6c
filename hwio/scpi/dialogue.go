package scpi

import (
	"bytes"
	"errors"
	"fmt"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"ohmgate/hwio/port"
)

// What can go wrong beyond the line itself.
var (
	// ErrUnexpected: the answer is not what the template expects.
	ErrUnexpected = errors.New("unexpected answer")
	// ErrWrongDevice: somebody else answers at this port.
	ErrWrongDevice = errors.New("wrong device")
	// ErrComplaint: the device queued an error.
	ErrComplaint = errors.New("device complains")
)

// Complaint is one entry of a device's error queue.
type Complaint struct {
	Code int
	Text string
}

// String is the entry as devices write it.
func (c Complaint) String() string { return fmt.Sprintf("%d,%q", c.Code, c.Text) }

// Complaints is what a device had queued after one command.
type Complaints struct {
	Command string
	List    []Complaint
}

// Error lists all of them.
func (c *Complaints) Error() string {
	texts := make([]string, len(c.List))
	for index, complaint := range c.List {
		texts[index] = complaint.String()
	}
	return fmt.Sprintf("%v after %q: %s", ErrComplaint, c.Command, strings.Join(texts, "; "))
}

// Unwrap makes errors.Is(err, ErrComplaint) true.
func (c *Complaints) Unwrap() error { return ErrComplaint }

// Identity is the answer to *IDN?.
type Identity struct {
	Maker, Model, Serial, Firmware string
}

// String is the answer as devices write it.
func (i Identity) String() string {
	return strings.Join([]string{i.Maker, i.Model, i.Serial, i.Firmware}, ",")
}

// Settings of a dialogue. Zero values mean the defaults named.
type Settings struct {
	// Wait is how long an answer may take to begin; a slow four-wire reading takes hundreds of milliseconds. Default 2 s.
	Wait time.Duration
	// Rest is how much longer it may take to end; default 1 s.
	Rest time.Duration
	// Late is how long after that a lost answer may still turn up; default 1 s.
	Late time.Duration
	// Quiet is the silence before each line; default 1 ms.
	Quiet time.Duration
}

func (s Settings) withDefaults() Settings {
	for _, field := range []struct {
		value    *time.Duration
		standard time.Duration
	}{{&s.Wait, 2 * time.Second}, {&s.Rest, time.Second}, {&s.Late, time.Second}, {&s.Quiet, time.Millisecond}} {
		if *field.value <= 0 {
			*field.value = field.standard
		}
	}
	return s
}

// Counts is what a dialogue has seen since it began.
type Counts struct {
	Lines      int `json:"lines"`       // sent
	Answers    int `json:"answers"`     // complete lines
	Silent     int `json:"silent"`      // no answer
	Garbled    int `json:"garbled"`     // no complete or no expected answer
	StrayBytes int `json:"stray_bytes"` // heard when nothing was due
	Complaints int `json:"complaints"`  // entries of the error queue
	Resyncs    int `json:"resyncs"`     // times the dialogue had to find its place again
}

// Device is one instrument at the end of a line.
type Device struct {
	line     port.Port
	template Template
	settings Settings

	speaking  sync.Mutex
	counts    Counts
	identity  Identity
	outOfStep bool // an answer may still be on its way: the next line heard is not to be trusted
}

// Times is when a command was sent and answered; see port.Answer.
type Times struct {
	Asked, Sent, ReplyStart, ReplyEnd port.Stamp
}

const (
	// lineLimit bounds one answer.
	lineLimit = 4096
	// queueLimit bounds how many complaints are fetched at once: a device that always complains must not hold us.
	queueLimit = 32
)

// NewDevice speaks to a device by its template.
func NewDevice(line port.Port, template Template, settings Settings) (*Device, error) {
	if wrong := template.Check(); len(wrong) > 0 {
		return nil, errors.Join(wrong...)
	}
	return &Device{line: line, template: template.WithDefaults(), settings: settings.withDefaults()}, nil
}

// Counts is a copy of what was counted so far.
func (d *Device) Counts() Counts {
	d.speaking.Lock()
	defer d.speaking.Unlock()
	return d.counts
}

// Identify asks who is there and refuses anybody but the expected device.
func (d *Device) Identify() (Identity, error) {
	d.speaking.Lock()
	defer d.speaking.Unlock()
	if err := d.findPlace(); err != nil {
		return Identity{}, err
	}
	answer, _, err := d.ask("*IDN?", `[^,]*,[^,]*,[^,]*,[^,]*`)
	if errors.Is(err, ErrUnexpected) { // a device that has just been switched on may have said so
		if err = d.findPlace(); err == nil {
			answer, _, err = d.ask("*IDN?", `[^,]*,[^,]*,[^,]*,[^,]*`)
		}
	}
	if err != nil {
		return Identity{}, err
	}
	expression, err := wholeMatch(d.template.Identity)
	if err != nil {
		return Identity{}, err
	}
	if d.template.Identity != "" && !expression.MatchString(answer) {
		return Identity{}, d.fault(ErrWrongDevice, fmt.Sprintf("%q answers where %q is expected", answer, d.template.Identity))
	}
	fields := strings.Split(answer, ",")
	d.identity = Identity{Maker: strings.TrimSpace(fields[0]), Model: strings.TrimSpace(fields[1]), Serial: strings.TrimSpace(fields[2]), Firmware: strings.TrimSpace(fields[3])}
	return d.identity, nil
}

// Begin identifies the device and sends the template's start commands, each followed by the question for complaints.
func (d *Device) Begin() (Identity, error) {
	identity, err := d.Identify()
	if err != nil {
		return identity, err
	}
	for _, command := range d.template.Start {
		if _, _, err := d.Do(command); err != nil {
			return identity, err
		}
	}
	return identity, nil
}

// Set orders a resistance and asks for complaints. Where the template can, the value is asked back and must be equal.
func (d *Device) Set(microohms int64) (Times, error) {
	if microohms < 0 {
		return Times{}, fmt.Errorf("device %q: %d micro-ohms: a resistance is not negative", d.template.Name, microohms)
	}
	if d.template.Set.Send == "" {
		return Times{}, fmt.Errorf("device %q: its template has no set command", d.template.Name)
	}
	command := d.template.Set
	command.Send = strings.ReplaceAll(command.Send, "{ohms}", FormatOhms(microohms))
	_, times, err := d.Do(command)
	if err != nil || d.template.ReadSet.Send == "" {
		return times, err
	}
	answer, _, err := d.Do(d.template.ReadSet)
	if err != nil {
		return times, err
	}
	back := ParseResistance(answer, Overload{})
	if back.Class != Value || back.Microohms != microohms {
		return times, d.fault(ErrUnexpected, fmt.Sprintf("set to %s Ω, answers %q", FormatOhms(microohms), answer))
	}
	return times, nil
}

// Measure asks for one resistance. Overload and nonsense are classes, not errors; an error means that there was no answer.
func (d *Device) Measure() (Resistance, Times, error) {
	if d.template.Measure.Send == "" {
		return Resistance{}, Times{}, fmt.Errorf("device %q: its template has no measure command", d.template.Name)
	}
	d.speaking.Lock()
	defer d.speaking.Unlock()
	if err := d.findPlace(); err != nil {
		return Resistance{}, Times{}, err
	}
	answer, times, err := d.ask(d.template.Measure.Send, d.template.Measure.Expect)
	if err != nil {
		return Resistance{}, times, err
	}
	return ParseResistance(answer, d.template.Overload), times, nil
}

// Do sends one command, checks its answer if one is due, and asks for complaints.
func (d *Device) Do(command Command) (string, Times, error) {
	d.speaking.Lock()
	defer d.speaking.Unlock()
	if err := d.findPlace(); err != nil {
		return "", Times{}, err
	}
	var answer string
	var times Times
	var err error
	if command.Expect == "" {
		times, err = d.tell(command.Send)
	} else {
		answer, times, err = d.ask(command.Send, command.Expect)
	}
	if err != nil {
		return answer, times, err
	}
	return answer, times, d.complaints(command.Send)
}

// complaints empties the device's error queue.
func (d *Device) complaints(after string) error {
	if d.template.ErrorQuestion == noErrorQuestion {
		return nil
	}
	found := &Complaints{Command: after}
	for len(found.List) < queueLimit {
		answer, _, err := d.ask(d.template.ErrorQuestion, `[+-]?\d+\s*(,.*)?`)
		if err != nil {
			return err
		}
		complaint, err := parseComplaint(answer)
		if err != nil {
			return d.fault(ErrUnexpected, err.Error())
		}
		if complaint.Code == 0 {
			break
		}
		d.counts.Complaints++
		found.List = append(found.List, complaint)
	}
	if len(found.List) > 0 {
		return found
	}
	return nil
}

func parseComplaint(answer string) (Complaint, error) {
	number, text, _ := strings.Cut(answer, ",")
	code, err := strconv.Atoi(strings.TrimSpace(number))
	if err != nil {
		return Complaint{}, fmt.Errorf("error number %q", number)
	}
	return Complaint{Code: code, Text: strings.Trim(strings.TrimSpace(text), `"`)}, nil
}

// tell sends a line to which no answer is due.
func (d *Device) tell(text string) (Times, error) {
	answer, err := d.line.Exchange(port.Ask{Request: []byte(text + d.template.End), Quiet: d.settings.Quiet})
	d.counts.Lines++
	d.counts.StrayBytes += len(answer.StrayBytes()) + len(answer.Heard)
	if err == nil {
		err = d.undue(answer)
	}
	return Times{Asked: answer.Asked, Sent: answer.Sent}, err
}

// ask sends a line and returns the answer without its line end.
func (d *Device) ask(text, expect string) (string, Times, error) {
	expression, err := wholeMatch(expect)
	if err != nil {
		return "", Times{}, err
	}
	answer, err := d.line.Exchange(port.Ask{
		Request: []byte(text + d.template.End), Quiet: d.settings.Quiet,
		Wait: d.settings.Wait, Rest: d.settings.Rest, Complete: lineComplete,
	})
	d.counts.Lines++
	d.counts.StrayBytes += len(answer.StrayBytes())
	times := Times{Asked: answer.Asked, Sent: answer.Sent, ReplyEnd: answer.Ended}
	times.ReplyStart, _ = answer.First()
	if err != nil {
		d.outOfStep = true
		if errors.Is(err, port.ErrSilent) {
			d.counts.Silent++
		} else {
			d.counts.Garbled++
		}
		return "", times, fmt.Errorf("device %q, %q: %w", d.template.Name, text, err)
	}
	if err := d.undue(answer); err != nil {
		return "", times, err
	}
	end := bytes.IndexByte(answer.Heard, '\n')
	reply := ""
	if end >= 0 {
		reply = strings.TrimRight(string(answer.Heard[:end]), "\r")
	}
	if end != len(answer.Heard)-1 || !expression.MatchString(reply) {
		d.counts.Garbled++
		d.outOfStep = true
		return reply, times, d.fault(ErrUnexpected, fmt.Sprintf("%q to %q, where %q is expected", shorten(string(answer.Heard)), text, expect))
	}
	d.counts.Answers++
	return reply, times, nil
}

// undue complains about what was heard before a line was sent, when nothing was due: a device that answers twice, or too late,
// may do so again, and then one answer is taken for the next.
func (d *Device) undue(answer port.Answer) error {
	stray := answer.StrayBytes()
	if len(stray) == 0 {
		return nil
	}
	d.outOfStep = true
	d.counts.Garbled++
	return d.fault(ErrUnexpected, fmt.Sprintf("%q was heard when nothing was due", shorten(string(stray))))
}

// lineComplete ends at the first line feed, or when nobody could mean this as an answer any more.
func lineComplete(heard []byte) bool {
	return bytes.IndexByte(heard, '\n') >= 0 || len(heard) > lineLimit
}

// findPlace gets back into step after a lost or strange answer: listen until nothing late can come, then ask for the
// identity, whose answer cannot be mistaken for a number, and pass over every line before it.
func (d *Device) findPlace() error {
	if !d.outOfStep {
		return nil
	}
	answer, err := d.line.Exchange(port.Ask{Wait: d.settings.Late})
	if err != nil {
		return err
	}
	d.counts.StrayBytes += len(answer.Heard)
	expression, err := wholeMatch(d.template.Identity)
	if err != nil {
		return err
	}
	isIdentity := func(line string) bool {
		return strings.Count(line, ",") == 3 && (d.template.Identity == "" || expression.MatchString(line))
	}
	// The line end in front ends whatever half a line the device may still hold.
	answer, err = d.line.Exchange(port.Ask{
		Request: []byte(d.template.End + "*IDN?" + d.template.End), Quiet: d.settings.Quiet,
		Wait: d.settings.Wait, Rest: d.settings.Rest,
		Complete: func(heard []byte) bool {
			lines := strings.Split(string(heard), "\n")
			return len(lines) > 1 && isIdentity(strings.TrimRight(lines[len(lines)-2], "\r")) || len(heard) > lineLimit
		},
	})
	d.counts.Resyncs++
	if err != nil {
		return fmt.Errorf("device %q does not find back into step: %w", d.template.Name, err)
	}
	if len(answer.Heard) > lineLimit {
		return d.fault(ErrUnexpected, "it talks without end")
	}
	d.outOfStep = false
	return nil
}

func (d *Device) fault(kind error, note string) error {
	return &port.Fault{Port: d.line.String(), Kind: kind, Note: fmt.Sprintf("device %q: %s", d.template.Name, note)}
}

func sortedKeys[V any](table map[string]V) []string {
	names := make([]string, 0, len(table))
	for name := range table {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}
