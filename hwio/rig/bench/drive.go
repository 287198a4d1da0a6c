package bench

import (
	"errors"
	"fmt"
	"slices"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/monitor"
)

// attempts is how often an order is given before the rig counts as lost. An order that got no answer may have been obeyed:
// the interval then begins with the first attempt and ends with the read-back that shows it.
const attempts = 4

// Fatal says that asking again is no use. A device that is busy, and a gateway that lost a frame, ask to be asked again.
func Fatal(err error) bool {
	code, refused := modbus.IsRefusal(err)
	passing := code == modbus.DeviceBusy || code == modbus.GatewayNoResponse
	return refused && !passing || errors.Is(err, ErrTwice) || errors.Is(err, port.ErrLost) || errors.Is(err, port.ErrHalted)
}

// WriteRelays moves all relays of a module to the wanted positions, in one frame, and reads them back. The interval is when
// the contacts moved: from the end of the order to the device's answer and the relay's longest operate time after it.
func (b *Bench) WriteRelays(module int, wanted []bool) (when interval.Moment, err error) {
	if b.ended {
		return when, Lost(errors.New("the rig was let go"))
	}
	request := modbus.Request{Function: modbus.WriteCoils, Count: uint16(len(wanted)), Bits: wanted}
	if changed := differences(b.coils[module], wanted); len(changed) == 1 {
		request = modbus.Request{Function: modbus.WriteCoil, First: uint16(changed[0]), Bits: wanted[changed[0] : changed[0]+1]}
	}
	operate := b.Map.OperateMax(module)
	b.moved = true
	for attempt := range attempts {
		result, wrong := b.ask(module, request)
		if when.From == 0 {
			when.From = result.Times.RequestEnd
		}
		if Fatal(wrong) {
			return when, Lost(wrong)
		}
		back, times, readErr := b.readRelays(module)
		switch {
		case Fatal(readErr):
			return when, Lost(readErr)
		case readErr == nil && slices.Equal(back, wanted):
			copy(b.coils[module], wanted)
			when.To = result.Times.ReplyStart.Add(operate)
			if wrong != nil || attempt > 0 {
				when.To = times.ReplyStart.Add(operate)
			}
			return when, nil
		}
		if err = errors.Join(wrong, readErr); err == nil {
			return when, Lost(b.astray(module, wanted, back))
		}
		// Whatever became of the order, all relays together are told again.
		request = modbus.Request{Function: modbus.WriteCoils, Count: uint16(len(wanted)), Bits: wanted}
		b.Unclear++
	}
	return when, Lost(err)
}

// astray says which relay is not where a clear answer said it went, or moved without an order.
func (b *Bench) astray(module int, wanted, back []bool) error {
	name := b.Module(module).Name
	for point := range wanted {
		if back[point] != wanted[point] && wanted[point] == b.coils[module][point] {
			return fmt.Errorf("relay %d of %s moved by itself (its time_out is %v: was the program held up?)", point, name, b.Module(module).TimeOut)
		}
	}
	return fmt.Errorf("the relays of %s are not where they were sent", name)
}

func differences(a, b []bool) (list []int) {
	for index := range a {
		if a[index] != b[index] {
			list = append(list, index)
		}
	}
	return list
}

// KeepAlive asks a relay module before its own time-out lets its relays fall, and sees that none has.
func (b *Bench) KeepAlive(module int) error {
	if port.Now().Sub(b.spoken[module]) < b.Module(module).TimeOut/5 {
		return nil
	}
	var back []bool
	err := b.patiently(func() (err error) {
		back, _, err = b.readRelays(module)
		return err
	})
	if err != nil {
		return Lost(err)
	}
	if changed := differences(back, b.coils[module]); len(changed) > 0 {
		return Lost(fmt.Errorf("relay %d of %s moved by itself", changed[0], b.Module(module).Name))
	}
	return nil
}

// SetDecade sets a decade; the interval is from the order to the end of the dialogue that confirms it.
func (b *Bench) SetDecade(module int, value monitor.Microohm) (when interval.Moment, err error) {
	if b.ended || b.devices[module] == nil {
		return when, Lost(errors.New("the decade was not opened"))
	}
	times, err := b.devices[module].Set(int64(value))
	if err != nil {
		return when, Lost(err)
	}
	b.set[module] = value
	return interval.Moment{From: times.Asked, To: max(times.ReplyEnd, port.Now())}, nil
}
