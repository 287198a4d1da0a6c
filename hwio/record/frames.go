package record

import (
	"errors"
	"fmt"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

// Frame is a run of bytes on one line without a silence of t3.5.
type Frame struct {
	Line       string
	Start, End int64 // nanoseconds, first and last byte
	Bytes      []byte
	WidestGap  time.Duration // between two of its bytes
	Broken     bool          // a gap longer than t1.5 inside: a strict receiver drops it
	Unit       byte
	PDU        []byte
	Err        error // why it is no whole frame
}

// Cut cuts bytes into frames: at every silence of t3.5, and wherever the speaker changes.
func Cut(bytes []Byte, baud int) []Frame {
	inner, outer := modbus.InnerSilence(baud), modbus.OuterSilence(baud)
	var frames []Frame
	for _, b := range bytes {
		last := len(frames) - 1
		if last < 0 || frames[last].Line != b.Line || time.Duration(b.Start-frames[last].End) >= outer {
			frames = append(frames, Frame{Line: b.Line, Start: b.Start, End: b.End, Bytes: []byte{b.Value}})
			continue
		}
		frame := &frames[last]
		gap := time.Duration(b.Start - frame.End)
		frame.WidestGap = max(frame.WidestGap, gap)
		frame.Broken = frame.Broken || gap > inner
		frame.End = b.End
		frame.Bytes = append(frame.Bytes, b.Value)
	}
	for index := range frames {
		frame := &frames[index]
		frame.Unit, frame.PDU, frame.Err = modbus.DecodeRTU(frame.Bytes)
	}
	return frames
}

// Length is how long the frame took, from its first data bit to its last.
func (f Frame) Length() time.Duration { return time.Duration(f.End - f.Start) }

// Exchange is one question and its answer, if there was one.
type Exchange struct {
	Question   Frame
	Request    modbus.Request
	Answered   bool
	Answer     Frame
	Reply      modbus.Reply
	Turnaround time.Duration // silence between question and answer
	Gap        time.Duration // silence from the end of the answer to the next question; zero for the last
}

// Odd is a frame that is neither a question nor the answer to the question before it.
type Odd struct {
	Frame Frame
	Err   error
}

// Pair pairs questions with answers. master names the line of the one who asks; empty means that all share one line (a
// tap on the two-wire side), and then a frame that answers the open question is its answer.
func Pair(frames []Frame, master string) (exchanges []Exchange, odd []Odd) {
	var open *Exchange
	for _, frame := range frames {
		if frame.Err != nil {
			odd = append(odd, Odd{frame, frame.Err})
			continue
		}
		fromMaster := master == "" || frame.Line == master
		fromDevice := master == "" || frame.Line != master
		if fromDevice && open != nil && !open.Answered && frame.Unit == open.Question.Unit {
			reply, err := modbus.DecodeReply(open.Request, frame.PDU)
			if err == nil {
				open.Answered, open.Answer, open.Reply = true, frame, reply
				open.Turnaround = time.Duration(frame.Start - open.Question.End)
				continue
			}
			if !fromMaster {
				odd = append(odd, Odd{frame, err})
				continue
			}
		}
		if !fromMaster {
			odd = append(odd, Odd{frame, errors.New("an answer, but no such question is open")})
			continue
		}
		request, exception := modbus.DecodeRequest(frame.PDU)
		if exception != 0 {
			odd = append(odd, Odd{frame, fmt.Errorf("no request that this program knows: %v", exception)})
			continue
		}
		if open != nil && open.Answered {
			open.Gap = time.Duration(frame.Start - open.Answer.End)
		}
		exchanges = append(exchanges, Exchange{Question: frame, Request: request})
		open = &exchanges[len(exchanges)-1]
	}
	return exchanges, odd
}

// Names of the two sides in frames taken from our own records.
const (
	ourSide   = "sent"
	theirSide = "heard"
)

// PairEvents pairs the questions of one of our own ports with their answers. Silence cannot be trusted here (adapters
// hand bytes over in lumps), so all that was heard between two questions is searched for the answer, as the client does.
// Times are those of this program, not of the wire.
func PairEvents(events []port.Event, name string) (exchanges []Exchange, odd []Odd) {
	var heard []port.Event
	finish := func() {
		var open *Exchange
		if len(exchanges) > 0 {
			open = &exchanges[len(exchanges)-1]
		}
		odd = append(odd, settle(open, heard)...)
		heard = nil
	}
	for _, event := range events {
		switch {
		case event.Port != name || event.Way == port.Lost:
		case event.Way == port.Heard:
			heard = append(heard, event)
		default:
			finish()
			frame := Frame{Line: ourSide, Start: int64(event.At), End: int64(event.Done), Bytes: event.Data}
			frame.Unit, frame.PDU, frame.Err = modbus.DecodeRTU(event.Data)
			request, exception := modbus.DecodeRequest(frame.PDU)
			if frame.Err != nil || exception != 0 {
				odd = append(odd, Odd{frame, errors.New("sent, but no Modbus request")})
				continue
			}
			exchanges = append(exchanges, Exchange{Question: frame, Request: request})
		}
	}
	finish()
	return exchanges, odd
}

// settle finds the open question's answer among what was heard after it; the rest is odd.
func settle(open *Exchange, heard []port.Event) (odd []Odd) {
	if len(heard) == 0 {
		return nil
	}
	all := Frame{Line: theirSide, Start: int64(heard[0].At), End: int64(heard[len(heard)-1].At)}
	ends := make([]int64, 0, len(heard))
	for _, event := range heard {
		for _, value := range event.Data {
			all.Bytes = append(all.Bytes, value)
			ends = append(ends, int64(event.At))
		}
	}
	all.Err = errors.New("bytes that answer no question")
	if open == nil || open.Answered {
		return []Odd{{all, all.Err}}
	}
	reply, start, end, found := modbus.FindReply(all.Bytes, open.Question.Unit, open.Request)
	if !found {
		return []Odd{{all, all.Err}}
	}
	open.Answered, open.Reply = true, reply
	open.Answer = Frame{Line: theirSide, Start: ends[start], End: ends[end-1], Bytes: all.Bytes[start:end]}
	open.Answer.Unit, open.Answer.PDU, open.Answer.Err = modbus.DecodeRTU(open.Answer.Bytes)
	open.Turnaround = time.Duration(open.Answer.Start - open.Question.End)
	for _, rest := range []Frame{{Bytes: all.Bytes[:start]}, {Bytes: all.Bytes[end:]}} {
		if len(rest.Bytes) > 0 {
			rest.Line, rest.Start, rest.End, rest.Err = theirSide, all.Start, all.End, all.Err
			odd = append(odd, Odd{rest, rest.Err})
		}
	}
	return odd
}
