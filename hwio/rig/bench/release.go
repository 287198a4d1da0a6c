package bench

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
)

// releaseTime is how long Release goes on trying before it says that the state of the rig is unknown.
const releaseTime = 2500 * time.Millisecond

// Released is what is known of the rig after a run.
type Released struct {
	State   string   // one of the sheet's states
	Details []string // what was seen, and what people must do where it is unknown
}

// Release opens every relay, reads the relays back and looks at the loop-back inputs. It is called on every path out of a
// run; whatever it cannot read back is unknown. A line that was lost is opened again, as long as releaseTime lasts.
func (b *Bench) Release() (released Released) {
	b.letting = true
	defer func() {
		b.letting = false
		// A rig in an unknown state takes no further order.
		b.ended = released.State != sheet.StateOpen
		if r := recover(); r != nil {
			released, b.ended = unknown(fmt.Errorf("internal error while letting go: %v", r)), true
		}
	}()
	deadline := port.Now().Add(releaseTime)
	for _, module := range b.ModulesOf(wiring.KindRelays) {
		if err := b.openAll(module, deadline); err != nil {
			return unknown(fmt.Errorf("%s: %w", b.Module(module).Name, err))
		}
		released.Details = append(released.Details, fmt.Sprintf("%s: relays 0..%d read back open", b.Module(module).Name, b.sizes[module]-1))
	}
	if err := b.loopsOpen(deadline); err != nil {
		return unknown(err)
	}
	if len(b.Map.Loops) > 0 {
		released.Details = append(released.Details, fmt.Sprintf("%d loop-back inputs read 0", len(b.Map.Loops)))
	}
	released.State = sheet.StateOpen
	return released
}

func unknown(why error) Released {
	return Released{State: sheet.StateUnknown, Details: []string{
		why.Error(), "switch the relays' supply off by hand before anybody touches the rig or the unit",
	}}
}

// openAll opens the relays of one module and reads them back, trying until the deadline.
func (b *Bench) openAll(module int, deadline port.Stamp) error {
	open := make([]bool, b.sizes[module])
	var last error
	for {
		client := b.clients[b.portOf(module)]
		if client == nil {
			last = port.ErrLost
		} else {
			_, last = client.WriteCoils(byte(b.Module(module).Address), 0, open)
			if back, _, err := b.readRelays(module); err != nil {
				last = errors.Join(last, err)
			} else if slices.Equal(back, open) {
				copy(b.coils[module], open)
				return nil
			} else {
				last = fmt.Errorf("relay %d is still closed", differences(back, open)[0])
			}
		}
		if port.Now() > deadline {
			return last
		}
		b.reopen(b.portOf(module), last)
	}
}

// reopen tries a lost line again after a moment.
func (b *Bench) reopen(index int, why error) {
	if !Fatal(why) {
		return
	}
	if b.lines[index] != nil {
		_ = b.lines[index].Halt()
		b.lines[index], b.clients[index] = nil, nil
	}
	time.Sleep(100 * time.Millisecond)
	_ = b.openLine(index) // the next attempt tells
}

// loopsOpen waits until no loop-back input is made any more: a welded contact reads back open as a coil.
func (b *Bench) loopsOpen(deadline port.Stamp) error {
	for {
		made, err := b.madeLoop()
		if err == nil && made == "" {
			return nil
		}
		if port.Now() > deadline {
			if err != nil {
				return err
			}
			return fmt.Errorf("the relay of %s reads back open, but its contact is still made", made)
		}
		if Fatal(err) {
			for _, module := range b.ModulesOf(wiring.KindInputs) {
				b.reopen(b.portOf(module), err)
			}
		}
	}
}

// madeLoop is the name of a loop whose input is made.
func (b *Bench) madeLoop() (string, error) {
	read := map[int][]bool{}
	for _, loop := range b.Map.Loops {
		module := loop.Input.Module
		if read[module] == nil {
			if b.clients[b.portOf(module)] == nil {
				return "", port.ErrLost
			}
			bits, _, err := b.ReadInputs(module)
			if err != nil {
				return "", err
			}
			read[module] = bits
		}
		if read[module][loop.Input.Point] {
			return loop.Name, nil
		}
	}
	return "", nil
}
