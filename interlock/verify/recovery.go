package verify

import (
	"encoding/binary"
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
)

// recovery: from every reachable memory of the output, and of every vessel that
// it charges, everything else stopped, a healthy plant and a careful operator
// bring it to run again. The
// real Step is followed on the whole site, without any abstraction; channels
// come back by themselves (their longest recovery is a number of its own).
func (v *verification) recovery(output int) *Result {
	for _, ch := range v.Model.ChannelsOf(output, -1) {
		f, err := v.FactsOf(ch)
		if err != nil {
			return &Result{Verdict: NotShown, Says: err.Error()}
		}
		if f.Recover == model.Endless {
			return &Result{Verdict: Violated, Says: v.Model.Names.Channels[ch] + " has a state from which good readings never lead to bonded"}
		}
	}
	s := v.StartWith(output, nil)
	if !s.Runs {
		return &Result{Verdict: Nothing, Says: "a healthy plant never brought it to run alone"}
	}
	w := recoverer{v: v, output: output, base: s.Driver, back: map[string]uint32{}, limit: runs.PatienceOf(v.Model.Config)}
	return w.all()
}

type recoverer struct {
	v      *verification
	output int
	base   *runs.Driver
	back   map[string]uint32 // scans to enabled, by what decides
	limit  uint64
	starts uint64
	worst  uint32
	said   string
}

func (w *recoverer) all() *Result {
	t, err := w.v.OutputTable(&w.v.Model.Config.Outputs[w.output], false)
	if err != nil {
		return &Result{Verdict: NotShown, Says: err.Error()}
	}
	c := w.v.Model.Config
	for _, word := range t.States {
		t.Shape.Each(uint32(word&(1<<table.WatchShift-1)), func(s interlock.OutputControl) {
			w.from(func(state *interlock.State) { state.Outputs[w.output].OutputControl = s })
		})
	}
	for _, i := range c.VesselsOf(w.output) {
		vt := table.TabulateVessel(w.v.Logic, &c.Vessels[i])
		for _, k := range vt.States {
			vt.Waited.Each(k.Waited, func(n model.Scans) {
				for mode := interlock.KeptOut; mode <= interlock.Tripped; mode++ {
					w.from(func(state *interlock.State) {
						state.Outputs[w.output].OutputControl = interlock.OutputControl{Mode: mode}
						state.Vessels[i] = interlock.VesselState{Clear: k.Clear, Held: k.Held, Early: k.Early, Waited: n}
					})
				}
			})
		}
	}
	if w.said != "" {
		return &Result{Verdict: Violated, Says: w.said, States: uint64(len(w.back))}
	}
	return &Result{Verdict: Shown, States: uint64(len(w.back)),
		Says: fmt.Sprintf("from %s within %s (%s)", model.Plural(w.starts, "state", "states"), model.ScansText(w.worst), quantity.Duration(w.v.Model.Longest(model.Scans(w.worst))))}
}

// from changes the running site in one way and follows it until it runs again,
// or until it is where an earlier way has been.
func (w *recoverer) from(change func(*interlock.State)) {
	if w.said != "" {
		return
	}
	d := w.base.CopyOf()
	change(d.State)
	w.starts++
	var path []string
	left := uint32(0)
	for !d.Enabled() {
		key := w.key(d.State)
		if n, ok := w.back[key]; ok {
			left = n
			break
		}
		path = append(path, key)
		if uint64(len(path)) > w.limit {
			w.said = fmt.Sprintf("not enabled %d scans after all was well, from mode %s", len(path), d.State.Outputs[w.output].Mode)
			return
		}
		d.Healthy()
		d.Turn()
	}
	if d.Enabled() && !d.Stays() {
		w.said = "enabled, and withheld again at once although all is well"
		return
	}
	for i := len(path) - 1; i >= 0; i-- {
		left++
		w.back[path[i]] = left
	}
	w.worst = max(w.worst, left)
}

// key writes down what decides when everything else is well: the output, its
// vessels, its streams and the outputs that call it.
func (w *recoverer) key(s *interlock.State) string {
	c := w.v.Model.Config
	var b []byte
	put := func(o *interlock.OutputControl) {
		b = binary.LittleEndian.AppendUint32(b, uint32(o.On))
		b = binary.LittleEndian.AppendUint32(b, uint32(o.Disagree))
		b = binary.LittleEndian.AppendUint32(b, uint32(o.Button.Held))
		b = append(b, byte(o.Mode), byte(o.Button.Phase), byte(o.Unconfirmed), flags(o.Ready, o.Armed, o.StartLow, o.Button.Released, o.SeenAway, o.SeenHome))
	}
	put(&s.Outputs[w.output].OutputControl)
	for _, i := range c.CallersOf(w.output) {
		put(&s.Outputs[i].OutputControl)
	}
	for _, i := range c.VesselsOf(w.output) {
		v := &s.Vessels[i]
		b = binary.LittleEndian.AppendUint32(b, uint32(v.Waited))
		b = binary.LittleEndian.AppendUint32(b, uint32(v.Ack.Held))
		b = append(b, byte(v.Ack.Phase), flags(v.Clear, v.Held, v.Early, v.Ack.Released))
		for _, st := range c.ChargedBy(i) {
			b = binary.LittleEndian.AppendUint32(b, uint32(s.Streams[st].Stopped))
		}
	}
	return string(b)
}

func flags(list ...bool) byte {
	var b byte
	for i, f := range list {
		b |= byte(model.Int(f)) << i
	}
	return b
}
