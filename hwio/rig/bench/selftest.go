package bench

import (
	"context"
	"fmt"
	"strings"
	"time"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
)

// Refused is a rig that a check before the run has found wanting. No scenario is played on it.
type Refused struct{ Check, Text string }

// Error says which check and why.
func (r *Refused) Error() string { return fmt.Sprintf("%s: %s", r.Check, r.Text) }

// Unwrap makes errors.Is(err, ErrRig) true.
func (r *Refused) Unwrap() error { return ErrRig }

// settleContact is what is waited beyond a relay's longest operate time before inputs are believed.
const settleContact = 5 * time.Millisecond

// SelfTest tries every wire alone: all relays open, no contact of the unit made; then each relay is closed, its own input
// must be seen and nothing else may move; then it is opened again.
func (b *Bench) SelfTest(ctx context.Context) (sheet.Inspection, error) {
	made := sheet.Inspection{Name: "wiring self-test", Verdict: verdict.NotShown, Details: []string{}}
	for _, module := range b.ModulesOf(wiring.KindRelays) {
		if _, err := b.WriteRelays(module, make([]bool, b.sizes[module])); err != nil {
			return made, err
		}
	}
	rest, err := b.baseline()
	if err != nil {
		return made, err
	}
	seen, unseen := 0, []string{}
	for _, relay := range b.Map.Relays() {
		if err := ctx.Err(); err != nil {
			return made, err
		}
		loop, err := b.tryRelay(relay, rest)
		if err != nil {
			return made, err
		}
		if loop == "" {
			unseen = append(unseen, relay.Name)
			continue
		}
		seen++
		made.Details = append(made.Details, fmt.Sprintf("%s (%s): seen on its loop-back input, nothing else moved", b.Map.TerminalName(relay.Terminal), relay.Name))
	}
	if seen > 0 {
		made.Verdict = verdict.Shown
	}
	b.unseen = unseen
	made.Text = fmt.Sprintf("%d relays tried one by one: %d seen on an input of their own, nothing else moved", seen+len(unseen), seen)
	if len(unseen) > 0 {
		made.Text += fmt.Sprintf("; %d only read back, their contacts were not seen: %s", len(unseen), strings.Join(unseen, ", "))
	}
	return made, nil
}

// baseline reads all inputs with every relay open. A contact of the unit that is made now is made without any bond.
func (b *Bench) baseline() (map[wiring.Terminal]bool, error) {
	time.Sleep(b.Settled())
	rest, err := b.allInputs()
	if err != nil {
		return nil, err
	}
	for _, input := range b.Map.Inputs() {
		if !rest[input.Terminal] || b.isHeard(input.Terminal) {
			continue
		}
		return nil, &Refused{"wiring self-test", fmt.Sprintf("%s (%s) is made while every relay is open", b.Map.TerminalName(input.Terminal), input.Name)}
	}
	return rest, nil
}

// isHeard says that an input belongs to the plant (stand-in): it may be made at rest.
func (b *Bench) isHeard(t wiring.Terminal) bool {
	for _, heard := range b.Map.Hears {
		if heard != nil && *heard == t {
			return true
		}
	}
	return false
}

func (b *Bench) longestOperate() time.Duration {
	longest := time.Duration(0)
	for _, module := range b.ModulesOf(wiring.KindRelays) {
		longest = max(longest, b.Map.OperateMax(module))
	}
	return longest
}

// allInputs reads every input in use; a lost or doubtful answer is asked for again.
func (b *Bench) allInputs() (map[wiring.Terminal]bool, error) {
	all := map[wiring.Terminal]bool{}
	for _, module := range b.ModulesOf(wiring.KindInputs) {
		bits, err := b.insist(module)
		if err != nil {
			return nil, err
		}
		for point, on := range bits {
			all[wiring.Terminal{Module: module, Point: point}] = on
		}
	}
	return all, nil
}

// insist reads the inputs of a module, asking again where no time is measured.
func (b *Bench) insist(module int) (bits []bool, err error) {
	err = b.patiently(func() (err error) {
		bits, _, err = b.ReadInputs(module)
		return err
	})
	return bits, Lost(err)
}

// tryRelay closes one relay, looks, and opens it again. The answer is the loop that showed it.
func (b *Bench) tryRelay(relay wiring.UsedRelay, rest map[wiring.Terminal]bool) (loop string, err error) {
	only := make([]bool, b.sizes[relay.Module])
	only[relay.Point] = true
	if _, err := b.WriteRelays(relay.Module, only); err != nil {
		return "", err
	}
	time.Sleep(b.Map.OperateMax(relay.Module) + settleContact)
	closed, err := b.allInputs()
	if err != nil {
		return "", err
	}
	expected := map[wiring.Terminal]bool{}
	for _, l := range b.Map.Loops {
		if l.Relay == relay.Terminal {
			expected[l.Input], loop = true, l.Name
		}
	}
	for _, input := range b.Map.Inputs() {
		if b.isHeard(input.Terminal) {
			continue
		}
		moved := closed[input.Terminal] != rest[input.Terminal]
		switch {
		case moved && !expected[input.Terminal]:
			return "", &Refused{"wiring self-test", fmt.Sprintf("closing %s (%s) moved %s (%s)", b.Map.TerminalName(relay.Terminal), relay.Name, b.Map.TerminalName(input.Terminal), input.Name)}
		case !moved && expected[input.Terminal]:
			return "", &Refused{"wiring self-test", fmt.Sprintf("closing %s (%s) was not seen on %s", b.Map.TerminalName(relay.Terminal), relay.Name, b.Map.TerminalName(input.Terminal))}
		}
	}
	if _, err := b.WriteRelays(relay.Module, make([]bool, b.sizes[relay.Module])); err != nil {
		return "", err
	}
	time.Sleep(b.Map.OperateMax(relay.Module) + settleContact)
	return loop, b.sameAs(rest, relay)
}

// sameAs refuses a rig whose inputs are not back where they were.
func (b *Bench) sameAs(rest map[wiring.Terminal]bool, relay wiring.UsedRelay) error {
	now, err := b.allInputs()
	if err != nil {
		return err
	}
	for _, input := range b.Map.Inputs() {
		if now[input.Terminal] != rest[input.Terminal] && !b.isHeard(input.Terminal) {
			return &Refused{"wiring self-test", fmt.Sprintf("after opening %s (%s) again, %s (%s) is not back", b.Map.TerminalName(relay.Terminal), relay.Name, b.Map.TerminalName(input.Terminal), input.Name)}
		}
	}
	return nil
}

// ProveSilence closes one relay of each module, says nothing to anybody for the module's own time-out and a fifth more, and
// then looks: first at the contact, where a loop-back input shows it, then at the relays.
func (b *Bench) ProveSilence(ctx context.Context) (sheet.Inspection, error) {
	made := sheet.Inspection{Name: "relays fall when the program goes silent", Verdict: verdict.NotShown, Details: []string{}}
	for _, module := range b.ModulesOf(wiring.KindRelays) {
		relay, loop := b.trial(module)
		wanted := make([]bool, b.sizes[module])
		wanted[relay.Point] = true
		if _, err := b.WriteRelays(module, wanted); err != nil {
			return made, err
		}
		waited := b.Module(module).TimeOut*6/5 + b.Map.OperateMax(module) + settleContact
		if !Pause(ctx, waited) {
			return made, ctx.Err()
		}
		if err := b.fallen(module, loop, waited); err != nil {
			return made, err
		}
		clear(b.coils[module])
		text := fmt.Sprintf("%s: relay %d closed, nothing said for %s, fell", b.Module(module).Name, relay.Point, quantity.Duration(waited.Round(time.Millisecond)))
		if loop != nil {
			text += ", seen on its loop-back input"
		} else {
			text += ", only read back: no contact was seen"
		}
		made.Details = append(made.Details, text)
	}
	made.Verdict, made.Text = verdict.Shown, strings.Join(made.Details, "; ")
	return made, nil
}

// trial is a relay that may be closed alone, best one with a loop-back input and none of the unit's clamps.
func (b *Bench) trial(module int) (wiring.Terminal, *wiring.Loop) {
	var found *wiring.Loop
	for index := range b.Map.Loops {
		if l := &b.Map.Loops[index]; l.Relay.Module == module && (found == nil || l.Harmless && !found.Harmless) {
			found = l
		}
	}
	if found != nil {
		return found.Relay, found
	}
	for _, relay := range b.Map.Relays() {
		if relay.Module == module {
			return relay.Terminal, nil
		}
	}
	return wiring.Terminal{Module: module, Point: 0}, nil
}

func (b *Bench) fallen(module int, loop *wiring.Loop, waited time.Duration) error {
	refuse := func(what string) error {
		return &Refused{"silence proof", fmt.Sprintf("%s did not let its relays fall after %s of silence (time_out: %s): %s", b.Module(module).Name, quantity.Duration(waited.Round(time.Millisecond)), quantity.Duration(b.Module(module).TimeOut), what)}
	}
	if loop != nil && b.portOf(loop.Input.Module) >= 0 {
		bits, err := b.insist(loop.Input.Module)
		if err != nil {
			return err
		}
		if bits[loop.Input.Point] {
			return refuse("its contact is still made")
		}
	}
	var back []bool
	err := b.patiently(func() (err error) {
		back, _, err = b.readRelays(module)
		return err
	})
	if err != nil {
		return Lost(err)
	}
	for point, on := range back {
		if on {
			return refuse(fmt.Sprintf("relay %d reads back closed", point))
		}
	}
	return nil
}

// Pause waits, unless the run is called off; false: it was.
func Pause(ctx context.Context, wait time.Duration) bool {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
