package modbus

import (
	"errors"
	"fmt"

	"ohmgate/hwio/port"
)

// onceTCP puts one question on a TCP connection. The transaction number tells late answers apart, so nothing is waited
// out and nothing is in doubt.
func (c *Client) onceTCP(unit byte, request Request, pdu []byte) (Result, error) {
	c.transaction++
	number := c.transaction
	var reply Reply
	var wrong error
	start, end := 0, 0
	complete := func(heard []byte) bool {
		reply, start, end, wrong = findTCP(heard, number, unit, request)
		return end > 0 || wrong != nil
	}
	answer, err := c.line.Exchange(port.Ask{
		Request: EncodeTCP(number, unit, pdu), Complete: complete,
		Wait: c.settings.Turnaround, Rest: c.settings.Turnaround,
	})
	if answer.Sent != 0 {
		c.counts.Questions++
	}
	c.counts.StrayBytes += len(answer.StrayBytes())
	result := Result{Unit: unit, Reply: reply, Times: replyTimes(answer, start, end)}
	result.Times.RequestEnd = answer.Asked
	if err == nil && wrong != nil {
		// The stream is out of step for good: an unplugged cable is no worse.
		_ = c.line.Halt()
		err = c.fault(port.ErrLost, "not Modbus TCP: "+wrong.Error())
	}
	switch {
	case errors.Is(err, port.ErrSilent):
		c.counts.Silent++
	case err != nil:
		c.counts.Garbled++
	default:
		c.counts.Answers++
		c.counts.StrayBytes += len(answer.Heard) - (end - start)
		if reply.Exception != noException {
			c.counts.Exceptions++
		}
		return result, nil
	}
	return result, fmt.Errorf("device %d, %v from %d: %w", unit, request.Function, request.First, err)
}

// findTCP walks the frames heard until the one with our number; older numbers are late answers and are passed over.
func findTCP(heard []byte, number uint16, unit byte, request Request) (reply Reply, start, end int, wrong error) {
	rest := heard
	for {
		start = len(heard) - len(rest)
		frame, after, err := TakeTCP(rest)
		if err != nil {
			return Reply{}, 0, 0, err
		}
		if frame == nil {
			return Reply{}, 0, 0, nil
		}
		rest = after
		if frame.Transaction != number || frame.Unit != unit {
			continue
		}
		if reply, err = DecodeReply(request, frame.PDU); err == nil {
			return reply, start, len(heard) - len(after), nil
		}
	}
}
