package live

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// Names turns the logic's numbers into the words of one site.
type Names struct {
	Site   *site.Site
	Config *interlock.Config
	Period time.Duration // of one scan, as people are told
}

// Channel, Input, Output, Vessel, Stream and Bypass are names by number.
func (n *Names) Channel(i int) string { return n.Site.Channels[i].Name }

// Input is the name of input i.
func (n *Names) Input(i int) string { return n.Site.Inputs[i].Name }

// Output is the name of output i.
func (n *Names) Output(i int) string { return n.Site.Outputs[i].Name }

// Vessel is the name of vessel i.
func (n *Names) Vessel(i int) string { return n.Site.Vessels[i].Name }

// Stream is the name of stream i.
func (n *Names) Stream(i int) string { return n.Site.Streams[i].Name }

// Bypass is the name of bypass i.
func (n *Names) Bypass(i int) string { return n.Site.Bypasses[i].Name }

// Ref is the name of a referenced input.
func (n *Names) Ref(r interlock.Ref) string {
	if r == 0 {
		return "none"
	}
	return n.Input(int(r) - 1)
}

// teller words one scan.
func (n *Names) teller(before *interlock.State, in *interlock.Inputs, now *interlock.State, d *interlock.Decision, scan uint64) *teller {
	called := tell.Names(n.Site.Names())
	return &teller{names: n, called: &called, before: before, in: in, state: now, d: d, scan: scan}
}

// Callers lists the outputs of a bit set by name.
func (n *Names) Callers(set uint64) []string {
	names := []string{}
	for i := range n.Site.Outputs {
		if set>>i&1 == 1 {
			names = append(names, n.Output(i))
		}
	}
	return names
}

// Long is a count of scans in people's time.
func (n *Names) Long(scans interlock.Scans) string {
	return fmt.Sprintf("%s (%d scans)", Seconds(time.Duration(scans)*n.Period), scans)
}

// Seconds writes a time as people read it.
func Seconds(d time.Duration) string {
	switch {
	case d < time.Second:
		return strconv.FormatInt(d.Milliseconds(), 10) + " ms"
	case d < 2*time.Minute:
		return strconv.FormatFloat(d.Seconds(), 'f', -1, 64) + " s"
	}
	d = d.Round(time.Second)
	return fmt.Sprintf("%d:%02d min", int(d.Minutes()), int(d.Seconds())%60)
}

// Ohms writes a resistance with three digits, as people do.
func Ohms(v monitor.Microohm) string { return quantity.Ohms(int64(tell.Digits(v))) }

// and joins names as a sentence does.
func and(names []string) string {
	switch len(names) {
	case 0:
		return "nothing"
	case 1:
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
