package modbus

import (
	"errors"
	"fmt"

	"ohmgate/hwio/port"
)

// ReadCoils reads back relay outputs.
func (c *Client) ReadCoils(unit byte, first, count uint16) ([]bool, Result, error) {
	return bitsOf(c.Do(unit, Request{Function: ReadCoils, First: first, Count: count}))
}

// ReadInputs reads discrete inputs.
func (c *Client) ReadInputs(unit byte, first, count uint16) ([]bool, Result, error) {
	return bitsOf(c.Do(unit, Request{Function: ReadInputs, First: first, Count: count}))
}

// ReadHoldingRegisters reads settings.
func (c *Client) ReadHoldingRegisters(unit byte, first, count uint16) ([]uint16, Result, error) {
	return wordsOf(c.Do(unit, Request{Function: ReadHoldingRegisters, First: first, Count: count}))
}

// ReadInputRegisters reads measurements.
func (c *Client) ReadInputRegisters(unit byte, first, count uint16) ([]uint16, Result, error) {
	return wordsOf(c.Do(unit, Request{Function: ReadInputRegisters, First: first, Count: count}))
}

// WriteCoil moves one relay. The device's echo is no proof that a contact moved: read it back.
func (c *Client) WriteCoil(unit byte, address uint16, on bool) (Result, error) {
	return c.Do(unit, Request{Function: WriteCoil, First: address, Bits: []bool{on}})
}

// WriteRegister writes one setting.
func (c *Client) WriteRegister(unit byte, address, value uint16) (Result, error) {
	return c.Do(unit, Request{Function: WriteRegister, First: address, Words: []uint16{value}})
}

// WriteCoils moves several relays in one frame.
func (c *Client) WriteCoils(unit byte, first uint16, on []bool) (Result, error) {
	return c.Do(unit, Request{Function: WriteCoils, First: first, Count: itemCount(len(on)), Bits: on})
}

// WriteRegisters writes several settings in one frame.
func (c *Client) WriteRegisters(unit byte, first uint16, values []uint16) (Result, error) {
	return c.Do(unit, Request{Function: WriteRegisters, First: first, Count: itemCount(len(values)), Words: values})
}

// itemCount makes an impossible number of items zero, which Check refuses.
func itemCount(length int) uint16 {
	if length > 0xFFFF {
		return 0
	}
	return uint16(length)
}

func bitsOf(result Result, err error) ([]bool, Result, error) {
	if err != nil {
		return nil, result, err
	}
	return result.Reply.Bits, result, nil
}

func wordsOf(result Result, err error) ([]uint16, Result, error) {
	if err != nil {
		return nil, result, err
	}
	return result.Reply.Words, result, nil
}

// ProbeEcho finds out whether the line repeats what is sent, with a question that cannot be its own answer (a read of
// one coil: eight bytes out, six or five back). Ask before any write: on an echoing line that is taken for a plain one, the
// echo of a write looks exactly like its confirmation.
func ProbeEcho(line port.Port, settings Settings, unit byte) (echoes bool, err error) {
	settings = settings.withDefaults()
	pdu, err := Request{Function: ReadCoils, Count: 1}.Encode()
	if err != nil {
		return false, err
	}
	frame := EncodeRTU(unit, pdu)
	answer, err := line.Exchange(port.Ask{
		Request: frame, Quiet: OuterSilence(settings.Line.Baud), QuietLimit: settings.QuietLimit,
		Wait: settings.Line.WireTime(len(frame)+exceptionRTU) + settings.Turnaround,
	})
	if err != nil {
		return false, err
	}
	if len(answer.Heard) == 0 {
		return false, fmt.Errorf("echo probe of device %d: %w", unit, &port.Fault{Port: line.String(), Kind: port.ErrSilent, Note: "neither an echo nor a device"})
	}
	client := Client{settings: Settings{Echo: true}}
	_, echoes = client.behindEcho(answer.Heard, frame)
	return echoes, nil
}

// IsRefusal tells a device's own no from a broken line, and gives its code.
func IsRefusal(err error) (Exception, bool) {
	var refusal *Refusal
	if errors.As(err, &refusal) {
		return refusal.Code, true
	}
	return noException, false
}
