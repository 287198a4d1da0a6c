package modbus

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
	"time"

	"ohmgate/hwio/port"
)

// Framing is how PDUs travel.
type Framing uint8

// RTU frames may also travel over a TCP connection to a serial server; TCP frames carry a transaction number.
const (
	RTU Framing = iota
	TCP
)

// Settings of a Client. The zero value is a careful RTU master at 19200 8E1 without retries.
type Settings struct {
	Framing Framing
	// Line gives character and silence times. Zero means port.DefaultLine. On TCP it is not used.
	Line port.Line
	// Turnaround is the longest a device may take to begin its answer; default 200 ms.
	Turnaround time.Duration
	// Late is how long after that a lost answer may still turn up; the client listens so long before it speaks again.
	// Default 500 ms. See the package text.
	Late time.Duration
	// Echo says that the adapter hears its own sending (two-wire converters without receiver gating).
	Echo bool
	// RefuseEarly rejects answers seen before the question can have left the wire. Set it on real wires; a pseudo-terminal
	// without wire times answers too fast for it.
	RefuseEarly bool
	// Retries is how often a question without a valid answer is put again; default 0, and 0 in every timing run. An answer
	// to a retry is in Doubt if the first one could have caused it.
	Retries int
	// BroadcastPause is the silence after a broadcast, in which devices work; default 100 ms.
	BroadcastPause time.Duration
	// QuietLimit is how long to wait for a silent line; default 1 s.
	QuietLimit time.Duration
}

func (s Settings) withDefaults() Settings {
	if s.Line == (port.Line{}) {
		s.Line = port.DefaultLine
	}
	for _, field := range []struct {
		value    *time.Duration
		standard time.Duration
	}{
		{&s.Turnaround, 200 * time.Millisecond}, {&s.Late, 500 * time.Millisecond},
		{&s.BroadcastPause, 100 * time.Millisecond}, {&s.QuietLimit, time.Second},
	} {
		if *field.value <= 0 {
			*field.value = field.standard
		}
	}
	return s
}

// Counts is what a client has seen since it began. Nothing in it is ever reset.
type Counts struct {
	Questions  int `json:"questions"`   // sent, retries included
	Answers    int `json:"answers"`     // valid, exceptions included
	Exceptions int `json:"exceptions"`  // of these: refusals
	Silent     int `json:"silent"`      // nothing came
	Garbled    int `json:"garbled"`     // something came, but no valid answer
	Retries    int `json:"retries"`     // questions put again
	StrayBytes int `json:"stray_bytes"` // bytes that belonged to no answer
	Late       int `json:"late"`        // answers that came after they were given up, recognised
	Twice      int `json:"twice"`       // answers that came once more after they had been taken
	Doubtful   int `json:"doubtful"`    // answers returned with Doubt
	Broadcasts int `json:"broadcasts"`
}

// Times is when an exchange happened, as far as a bus and an operating system can tell.
type Times struct {
	Asked      port.Stamp    // just before the request was handed over
	RequestEnd port.Stamp    // earliest moment at which its last byte can have been on the wire
	ReplyStart port.Stamp    // when the first byte of the answer was seen (it left the wire earlier)
	ReplyEnd   port.Stamp    // when the last byte of the answer was seen
	WidestGap  time.Duration // between two chunks of the answer; adapters make such gaps, so none is judged here
}

// Result is one answered question.
type Result struct {
	Unit     byte
	Reply    Reply
	Times    Times
	Attempts int  // 1: no retry was needed
	Doubt    bool // it may be the answer to an older question: do not judge times by it
}

// ErrEcho: the line should repeat what is sent, and did not.
var ErrEcho = errors.New("own sending not heard back")

// Client asks over one port, one question at a time.
type Client struct {
	line     port.Port
	settings Settings

	asking      sync.Mutex
	counts      Counts
	lost        []lostQuestion
	served      *lostQuestion // the last question, if its answer was taken without doubt
	transaction uint16
}

// lostQuestion is one that got no valid answer; its answer may still be on the way.
type lostQuestion struct {
	unit     byte
	request  Request
	gaveUp   port.Stamp
	listened bool // the time for late answers was waited out
	doubted  bool // and an answer was in doubt because of it
}

// lostLimit bounds the list; when it is full the oldest goes, long after its answer could come.
const lostLimit = 16

// NewClient asks over this port.
func NewClient(line port.Port, settings Settings) *Client {
	return &Client{line: line, settings: settings.withDefaults()}
}

// Counts is a copy of what was counted so far.
func (c *Client) Counts() Counts {
	c.asking.Lock()
	defer c.asking.Unlock()
	return c.counts
}

// Do puts one question and returns its answer. The error is a *Refusal when the device says no, and wraps
// port.ErrSilent, port.ErrCut or port.ErrLost when there is no valid answer.
func (c *Client) Do(unit byte, request Request) (Result, error) {
	c.asking.Lock()
	defer c.asking.Unlock()
	pdu, err := request.Encode()
	if err != nil {
		return Result{}, err
	}
	if unit == Broadcast && c.settings.Framing == RTU {
		return c.broadcast(request, pdu)
	}
	if unit > HighestUnit && c.settings.Framing == RTU {
		return Result{}, fmt.Errorf("unit %d: use 1 to %d, or 0 to write to all", unit, HighestUnit)
	}
	var result Result
	for attempt := 1; attempt <= 1+max(c.settings.Retries, 0); attempt++ {
		if attempt > 1 {
			c.counts.Retries++
		}
		result, err = c.once(unit, request, pdu)
		result.Attempts = attempt
		if err == nil || errors.Is(err, port.ErrLost) || errors.Is(err, port.ErrHalted) {
			break
		}
	}
	if err != nil {
		return result, err
	}
	if result.Reply.Exception != noException {
		return result, &Refusal{Unit: unit, Function: request.Function, Code: result.Reply.Exception}
	}
	return result, nil
}

func (c *Client) once(unit byte, request Request, pdu []byte) (Result, error) {
	if c.settings.Framing == TCP {
		return c.onceTCP(unit, request, pdu)
	}
	return c.onceRTU(unit, request, pdu)
}

// broadcast writes to all and leaves them time; there is no answer.
func (c *Client) broadcast(request Request, pdu []byte) (Result, error) {
	if !request.Function.Writes() {
		return Result{}, fmt.Errorf("%v: only writes can go to all devices", request.Function)
	}
	frame := EncodeRTU(Broadcast, pdu)
	if err := c.listenForLate(); err != nil {
		return Result{}, err
	}
	pause := c.settings.Line.WireTime(len(frame)) + c.settings.BroadcastPause
	answer, err := c.line.Exchange(port.Ask{Request: frame, Quiet: c.quiet(), QuietLimit: c.settings.QuietLimit, Wait: pause})
	c.counts.Questions++
	c.counts.Broadcasts++
	strays := len(answer.Heard)
	if c.settings.Echo && err == nil {
		if _, ok := c.behindEcho(answer.Heard, frame); !ok {
			return Result{}, c.fault(ErrEcho, "broadcast")
		}
		strays -= len(frame)
	}
	c.counts.StrayBytes += strays + len(answer.StrayBytes())
	return Result{Attempts: 1, Times: Times{Asked: answer.Asked, RequestEnd: answer.Asked.Add(c.settings.Line.WireTime(len(frame)))}}, err
}

func (c *Client) quiet() time.Duration { return OuterSilence(c.settings.Line.Baud) }

func (c *Client) onceRTU(unit byte, request Request, pdu []byte) (Result, error) {
	if err := c.listenForLate(); err != nil {
		return Result{}, err
	}
	frame := EncodeRTU(unit, pdu)
	onWire := c.settings.Line.WireTime(len(frame))
	var reply Reply
	var start, end int
	complete := func(heard []byte) (found bool) {
		after, ok := c.behindEcho(heard, frame)
		if !ok {
			return false
		}
		reply, start, end, found = FindReply(heard[after:], unit, request)
		start, end = start+after, end+after
		return found
	}
	answer, err := c.line.Exchange(port.Ask{
		Request: frame, Quiet: c.quiet(), QuietLimit: c.settings.QuietLimit, Complete: complete,
		Wait: onWire + c.settings.Turnaround,
		Rest: c.settings.Turnaround + c.settings.Line.WireTime(request.ReplyLength()+rtuOverhead+c.echoLength(frame)),
	})
	c.noteStray(answer.StrayBytes())
	if answer.Sent != 0 {
		c.counts.Questions++
	}
	result := Result{Unit: unit, Reply: reply, Times: replyTimes(answer, start, end)}
	result.Times.RequestEnd = answer.Asked.Add(onWire)
	if err == nil && c.settings.RefuseEarly && result.Times.ReplyEnd < c.earliestEnd(answer.Asked, len(frame)+end-start) {
		err = c.fault(port.ErrCut, "an answer came before the question had left the wire: whose is it?")
	}
	if err != nil {
		return result, c.noteFailure(unit, request, answer, frame, err)
	}
	c.counts.StrayBytes += len(answer.Heard) - (end - start) - c.echoLength(frame)
	result.Doubt = c.settle(unit, reply)
	c.noteTwice(answer.Heard[:start])
	if c.served = nil; !result.Doubt {
		c.served = &lostQuestion{unit: unit, request: request}
		c.noteTwice(answer.Heard[end:])
	}
	c.counts.Answers++
	if reply.Exception != noException {
		c.counts.Exceptions++
	}
	return result, nil
}

// earliestEnd is when a question and its answer of so many bytes together can have passed the wire at the earliest, with
// three per cent allowed for clocks.
func (c *Client) earliestEnd(asked port.Stamp, characters int) port.Stamp {
	return asked.Add(c.settings.Line.WireTime(characters) * 97 / 100)
}

// behindEcho is where the answer can begin: behind our own words on an echoing line.
func (c *Client) behindEcho(heard, frame []byte) (int, bool) {
	if !c.settings.Echo {
		return 0, true
	}
	at := bytes.Index(heard, frame)
	return at + len(frame), at >= 0
}

func (c *Client) echoLength(frame []byte) int {
	if c.settings.Echo {
		return len(frame)
	}
	return 0
}

// noteFailure counts a question without a valid answer and remembers that its answer may still come.
func (c *Client) noteFailure(unit byte, request Request, answer port.Answer, frame []byte, err error) error {
	// What came too early for this question may be a copy of the last answer, but nobody can tell.
	if _, _, _, early := FindReply(answer.Heard, unit, request); !early {
		c.noteTwice(answer.Heard)
	}
	c.served = nil
	silent := errors.Is(err, port.ErrSilent)
	garbled := errors.Is(err, port.ErrCut)
	if garbled && c.settings.Echo {
		switch after, ok := c.behindEcho(answer.Heard, frame); {
		case !ok:
			err = c.fault(ErrEcho, "is the adapter really echoing, and is anybody else sending?")
		case after == len(answer.Heard):
			silent, garbled = true, false
			err = c.fault(port.ErrSilent, "only our own echo was heard")
		}
	}
	switch {
	case silent:
		c.counts.Silent++
	case garbled:
		c.counts.Garbled++
		c.counts.StrayBytes += len(answer.Heard)
	}
	if answer.Sent != 0 {
		if len(c.lost) == lostLimit {
			c.lost = c.lost[1:]
		}
		c.lost = append(c.lost, lostQuestion{unit: unit, request: request, gaveUp: port.Now()})
	}
	return fmt.Errorf("device %d, %v from %d: %w", unit, request.Function, request.First, err)
}

func (c *Client) fault(kind error, note string) error {
	return &port.Fault{Port: c.line.String(), Kind: kind, Note: note}
}

// listenForLate waits, before the next question, until every lost question's answer has come or is too late to come.
func (c *Client) listenForLate() error {
	for {
		waiting := -1
		for index, lost := range c.lost {
			if !lost.listened {
				waiting = index
			}
		}
		if waiting < 0 {
			return nil
		}
		lost := c.lost[waiting]
		answer, err := c.line.Exchange(port.Ask{
			Wait: max(lost.gaveUp.Add(c.settings.Late).Sub(port.Now()), 0),
			Complete: func(heard []byte) bool {
				_, _, _, found := FindReply(heard, lost.unit, lost.request)
				return found
			},
		})
		if errors.Is(err, port.ErrLost) || errors.Is(err, port.ErrHalted) {
			return err
		}
		kept := c.lost[:0:0]
		for _, older := range c.lost[:waiting+1] {
			older.listened = true
			if !older.doubted {
				kept = append(kept, older)
			}
		}
		c.lost = append(kept, c.lost[waiting+1:]...)
		c.noteStray(answer.Heard)
	}
}

// noteStray counts bytes that belong to no present question, and recognises answers to lost ones among them.
func (c *Client) noteStray(heard []byte) {
	c.counts.StrayBytes += len(heard)
	for index := len(c.lost) - 1; index >= 0; index-- {
		lost := c.lost[index]
		if _, _, _, found := FindReply(heard, lost.unit, lost.request); found {
			c.counts.Late++
			c.forget(lost.unit, index)
			return
		}
	}
	c.noteTwice(heard)
}

// noteTwice recognises a second answer to a question that had its answer: two devices with one address, or an adapter that
// repeats. Had it come a moment later it would have been taken for the answer to the next question, so no answer on such a
// line is to be trusted.
func (c *Client) noteTwice(heard []byte) {
	if c.served == nil {
		return
	}
	if _, _, _, found := FindReply(heard, c.served.unit, c.served.request); found {
		c.counts.Twice++
	}
}

// forget drops a lost question and all older ones of the same device: it answers in order.
func (c *Client) forget(unit byte, newest int) {
	kept := c.lost[:0:0]
	for index, lost := range c.lost {
		if lost.unit != unit || index > newest {
			kept = append(kept, lost)
		}
	}
	c.lost = kept
}

// settle asks whether a valid answer could be that of a lost question. If it cannot, the device has passed them all,
// because it serves in order. If it can, the present question's own answer may still come: once more, later, listen.
func (c *Client) settle(unit byte, reply Reply) (doubt bool) {
	pdu := reply.Encode()
	for index, lost := range c.lost {
		if lost.unit != unit {
			continue
		}
		if _, err := DecodeReply(lost.request, pdu); err == nil {
			c.lost[index].gaveUp, c.lost[index].listened, c.lost[index].doubted = port.Now(), false, true
			doubt = true
		}
	}
	if doubt {
		c.counts.Doubtful++
	} else {
		c.forget(unit, len(c.lost))
	}
	return doubt
}

// replyTimes finds the chunks that hold the bytes from start to end.
func replyTimes(answer port.Answer, start, end int) Times {
	times := Times{Asked: answer.Asked}
	position := 0
	var previous port.Stamp
	for _, chunk := range answer.Chunks {
		first, last := position, position+len(chunk.Data)
		position = last
		if last <= start || first >= end {
			continue
		}
		if times.ReplyStart == 0 {
			times.ReplyStart = chunk.At
		} else {
			times.WidestGap = max(times.WidestGap, chunk.At.Sub(previous))
		}
		previous = chunk.At
		times.ReplyEnd = chunk.At
	}
	return times
}
