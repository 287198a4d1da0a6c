package analyse

import (
	"errors"
	"fmt"
	"slices"
	"strings"
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

// Cut cuts bytes into frames: at every silence of t3.5, and wherever the speaker changes. What makes no frame that way, because
// somebody answered without waiting for the silence, is cut where check sums say.
func Cut(bytes []Byte, baud int) []Frame {
	outer := modbus.OuterSilence(baud)
	var frames []Frame
	for from := 0; from < len(bytes); {
		to := from + 1
		for to < len(bytes) && bytes[to].Line == bytes[from].Line && time.Duration(bytes[to].Start-bytes[to-1].End) < outer {
			to++
		}
		run := bytes[from:to]
		whole := frameOf(run, baud)
		if parts := bySum(run); whole.Err != nil && len(parts) > 1 {
			for _, part := range parts {
				frames = append(frames, frameOf(part, baud))
			}
		} else {
			frames = append(frames, whole)
		}
		from = to
	}
	return frames
}

func frameOf(run []Byte, baud int) Frame {
	frame := Frame{Line: run[0].Line, Start: run[0].Start, End: run[len(run)-1].End}
	fault := ""
	for index, b := range run {
		if index > 0 {
			gap := time.Duration(b.Start - run[index-1].End)
			frame.WidestGap = max(frame.WidestGap, gap)
			frame.Broken = frame.Broken || gap > modbus.InnerSilence(baud)
		}
		if b.Fault != "" && fault == "" {
			fault = fmt.Sprintf("byte %d has %s", index+1, b.Fault)
		}
		frame.Bytes = append(frame.Bytes, b.Value)
	}
	if frame.Unit, frame.PDU, frame.Err = modbus.DecodeRTU(frame.Bytes); fault != "" {
		frame.Err = errors.New(fault)
	}
	return frame
}

// mostBySum bounds what is cut by check sums: a question and its answer, twice.
const mostBySum = 4 * modbus.RTULimit

// bySum cuts bytes into frames with right check sums that leave nothing over; nil: there is no such cut.
func bySum(run []Byte) [][]Byte {
	if len(run) > mostBySum {
		return nil
	}
	values := make([]byte, len(run))
	for index, b := range run {
		values[index] = b.Value
	}
	dead := map[int]bool{} // from here on there is no cut
	var cut func(from int) []int
	cut = func(from int) []int {
		if from == len(values) {
			return []int{}
		}
		for to := from + 4; to <= min(len(values), from+modbus.RTULimit) && !dead[from]; to++ {
			if _, _, err := modbus.DecodeRTU(values[from:to]); err == nil {
				if rest := cut(to); rest != nil {
					return append([]int{to}, rest...)
				}
			}
		}
		dead[from] = true
		return nil
	}
	var parts [][]Byte
	from := 0
	for _, to := range cut(0) {
		parts, from = append(parts, run[from:to]), to
	}
	return parts
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

// Broadcast says that nobody answers: the question went to all.
func (e *Exchange) Broadcast() bool { return e.Question.Unit == modbus.Broadcast }

// Odd is a frame that is neither a question nor the answer to the question before it.
type Odd struct {
	Frame Frame
	Err   error
}

// Master tells which line the one who asks is on: the one that makes more answered questions. Empty: all share one line.
func Master(frames []Frame) (string, error) {
	var lines []string
	for _, frame := range frames {
		if !slices.Contains(lines, frame.Line) {
			lines = append(lines, frame.Line)
		}
	}
	if len(lines) == 1 {
		return "", nil
	}
	best, most, equal := "", -1, false
	for _, line := range lines {
		exchanges, _ := Pair(frames, line)
		count := 0
		for index := range exchanges {
			if exchanges[index].Answered {
				count++
			}
		}
		equal = count == most
		if count > most {
			best, most = line, count
		}
	}
	if most > 0 && equal || len(lines) > 2 {
		return "", fmt.Errorf("the record has the lines %s, and does not tell who asks; write --master NAME, or record two lines", strings.Join(lines, ", "))
	}
	return best, nil
}

// Pair pairs questions with answers. master names the line of the one who asks; empty means that all share one line (a
// tap on the two-wire side), and then a frame that answers the open question is its answer.
func Pair(frames []Frame, master string) (exchanges []Exchange, odd []Odd) {
	var open *Exchange
	for index, frame := range frames {
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
		if exception != 0 && !refusedNext(frames, index, master) {
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

// refusedNext says whether the next frame refuses this one, which therefore was a question, if a wrong one.
func refusedNext(frames []Frame, index int, master string) bool {
	if index+1 >= len(frames) {
		return false
	}
	asked, next := frames[index], frames[index+1]
	return next.Err == nil && next.Unit == asked.Unit && (master == "" || next.Line != master) && len(next.PDU) == 2 && next.PDU[0] == asked.PDU[0]|0x80
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
