package sim

import (
	"fmt"
	"sort"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
)

// Stage is a plant with people in front of it: a scenario plays on it, it goes
// on when the scenario is over, and whatever comes to somebody's mind can be
// done to it between two scans. The same scenario, seed and deeds give the same
// run.
type Stage struct {
	*Plant
	// Prelude is how many scans bring the site to the beginning of its
	// scenario.
	Prelude uint64

	names *names
	deeds []Deed
}

// NewStage sets up a scenario. seed 0 takes the scenario's own.
func NewStage(s *site.Site, logic *interlock.Config, sc *Scenario, seed uint64) *Stage {
	if seed == 0 {
		seed = sc.Seed
	}
	st := &Stage{Plant: NewPlant(s, logic, seed, never), names: newNames(s)}
	st.Prelude = st.prelude(sc, st.names)
	st.schedule(sc, st.Prelude, st.names)
	st.start()
	st.told = func(_ uint64, what Deed) { st.deeds = append(st.deeds, what) }
	return st
}

// Deeds lists what happened to the plant since it was last asked.
func (st *Stage) Deeds() []Deed {
	deeds := st.deeds
	st.deeds = nil
	return deeds
}

// Acting names the faults that act now.
func (st *Stage) Acting() []string {
	list := []string{}
	for _, a := range st.active {
		list = append(list, a.label)
	}
	return list
}

// Do lets steps and faults happen from a scan on. line is one entry of a
// scenario's steps or faults without its at:, such as "do: press, on: reset_1".
func (st *Stage) Do(scan uint64, isFault bool, line string) error {
	section := "steps"
	if isFault {
		section = "faults"
	}
	text := fmt.Sprintf("scenario: by_hand\nlasts: 1 scans\n%s:\n  - {at: 0 s, %s}\n", section, line)
	sc, problems := ParseScenario("by hand", []byte(text), st.Site)
	if problems != nil {
		return fmt.Errorf("%s; %s", problems[0].Text, problems[0].Instead)
	}
	st.schedule(sc, scan, st.names)
	sort.SliceStable(st.agenda[st.next:], func(i, j int) bool { return st.agenda[st.next+i].scan < st.agenda[st.next+j].scan })
	return nil
}

// Clear ends a fault that acts on something, before its time.
func (st *Stage) Clear(scan uint64, name, on string) error {
	label := strings.TrimSpace(name + " " + on)
	for _, a := range append([]*acting(nil), st.active...) {
		if a.label != label {
			continue
		}
		a.over = true
		st.active = without(st.active, a)
		st.finish(a, a.targets)
		if a.fault.On == fault.OnChannel && a.fault.Act {
			st.channels[a.on].attached = onPart
		}
		for i := range st.channels {
			st.channels[i].settle(scan)
		}
		st.inputsDue, st.busy = true, true
		st.deeds = append(st.deeds, Deed{"over: " + a.fault.Title + " on " + on, on})
		return nil
	}
	return fmt.Errorf("%s does not act: nothing to clear", label)
}

// FaultsOn lists the names of a site on which a fault can act; an empty name
// stands for the whole bus or the logic.
func FaultsOn(s *site.Site, f *fault.Fault) []string {
	var list []string
	switch f.On {
	case fault.OnChannel:
		for i := range s.Channels {
			list = append(list, s.Channels[i].Name)
		}
	case fault.OnInput:
		for i := range s.Inputs {
			list = append(list, s.Inputs[i].Name)
		}
	case fault.OnOutput:
		for i := range s.Outputs {
			list = append(list, s.Outputs[i].Name)
		}
	case fault.OnBypass:
		for i := range s.Bypasses {
			list = append(list, s.Bypasses[i].Name)
		}
	case fault.OnBus, fault.OnLogic:
		list = append(list, f.On.String())
	}
	return list
}
