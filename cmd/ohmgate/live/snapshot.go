package live

import (
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// Snapshot is one moment in words and numbers: what the page shows at "now".
type Snapshot struct {
	Run       int             `json:"run"`
	Scan      uint64          `json:"scan"` // scans turned so far
	TimeNs    int64           `json:"time_ns"`
	Drive     Drive           `json:"drive"`
	Channels  []ChannelShown  `json:"channels"`
	Inputs    []string        `json:"inputs"`
	Outputs   []OutputShown   `json:"outputs"`
	Vessels   []VesselShown   `json:"vessels"`
	Bypasses  []BypassShown   `json:"bypasses"`
	Faults    []string        `json:"faults"` // acting now, in a simulation
	Values    []int           `json:"values"` // of the lanes, in their order
	Overruns  uint64          `json:"overruns"`
	Late      LateShown       `json:"late"`
	Advice    []Advice        `json:"advice"`
	Journal   JournalShown    `json:"journal"`
	Reference *ReferenceShown `json:"reference,omitempty"`
}

// Drive is what moves the paper.
type Drive struct {
	Mode   string  `json:"mode"`   // running | paused | ended | stopped
	Speed  float64 `json:"speed"`  // asked for; 0 is as fast as it goes
	Factor float64 `json:"factor"` // reached in the last second
	Note   string  `json:"note"`   // why it ended or stopped
}

// ChannelShown is one channel now.
type ChannelShown struct {
	Reading string `json:"reading"`
	AgeNs   int64  `json:"age_ns"` // since the last fresh reading
	Phase   string `json:"phase"`
	Class   string `json:"class"`
	Doubt   int    `json:"doubt_percent"`
	Settled int    `json:"settled_percent"`
}

// OutputShown is one output now.
type OutputShown struct {
	Mode        string   `json:"mode"`
	Withheld    []string `json:"withheld_by"`
	First       []string `json:"first_out"`
	Alongside   []string `json:"alongside"`
	Unknown     bool     `json:"order_unknown"`
	Unconfirmed []string `json:"unconfirmed"`
}

// VesselShown is one vessel now.
type VesselShown struct {
	Bond       string `json:"bond"`
	MayCharged bool   `json:"may_be_charged"`
	Waiting    bool   `json:"waiting"`
	LeftNs     int64  `json:"left_ns"` // of the wait
	Early      bool   `json:"reconnected_early"`
}

// BypassShown is one bypass now.
type BypassShown struct {
	Active bool  `json:"active"`
	LeftNs int64 `json:"left_ns"`
}

// LateShown is how late scans began.
type LateShown struct {
	MaxNs int64 `json:"max_ns"`
	P999  int64 `json:"p999_ns"`
}

// JournalShown is how far the journal is behind what was turned.
type JournalShown struct {
	On     bool   `json:"on"`
	Behind uint64 `json:"behind_scans"`
	LagNs  int64  `json:"lag_ns"` // of the last commit
}

// ReferenceShown is the second run under the first.
type ReferenceShown struct {
	Name  string `json:"name"`
	Scans uint64 `json:"scans"`
}

// Advice is what somebody has to do, or must not do.
type Advice struct {
	Rank tell.Rank `json:"rank"`
	Text string    `json:"text"`
	Lane string    `json:"lane"`
}

// shoot takes a snapshot of the logic; heard is what arrived last of each
// channel, which need not be in this scan.
func (n *Names) shoot(scan uint64, heard []monitor.Reading, s *interlock.State, d *interlock.Decision) *Snapshot {
	shot := &Snapshot{Scan: scan, TimeNs: int64(time.Duration(scan) * n.Period), Faults: []string{}, Advice: []Advice{}}
	t := n.teller(nil, nil, s, d, scan)
	for i := range s.Channels {
		shot.Channels = append(shot.Channels, n.channelNow(i, heard[i], s))
	}
	for i := range s.Inputs {
		shot.Inputs = append(shot.Inputs, s.Inputs[i].Level.String())
	}
	for i := range s.Outputs {
		shot.Outputs = append(shot.Outputs, t.outputNow(i))
	}
	for i := range s.Vessels {
		shot.Vessels = append(shot.Vessels, n.vesselNow(i, s, d))
	}
	for i := range s.Bypasses {
		b, active := &n.Config.Bypasses[i], s.Bypasses[i].Active
		shown := BypassShown{Active: active > 0}
		if active > 0 {
			shown.LeftNs = int64(time.Duration(b.For-min(active, b.For)) * n.Period)
		}
		shot.Bypasses = append(shot.Bypasses, shown)
	}
	values := make([]uint8, len(lanesOf(n.Site)))
	laneValues(n.Config, s, values)
	for _, v := range values {
		shot.Values = append(shot.Values, int(v))
	}
	t.advise(shot)
	return shot
}

func (n *Names) channelNow(i int, heard monitor.Reading, s *interlock.State) ChannelShown {
	c, state := &n.Config.Channels[i].Config, &s.Channels[i].State
	shown := ChannelShown{
		Reading: readingText(heard), Phase: state.Phase.String(), Class: state.Class.String(),
		AgeNs: int64(time.Duration(state.Age) * n.Period),
	}
	if state.Class == monitor.Missing {
		shown.Reading = "nothing arrives"
	}
	if state.Phase == monitor.Doubtful {
		shown.Doubt = int(uint64(state.Doubt) * 100 / uint64(c.Full))
	}
	if state.Phase == monitor.Settling {
		shown.Settled = int(min(uint64(state.Run)*100/uint64(c.SettleScans), uint64(state.Count)*100/uint64(c.SettleReadings)))
	}
	return shown
}

func (t *teller) outputNow(i int) OutputShown {
	state := &t.state.Outputs[i]
	return OutputShown{
		Mode: state.Mode.String(), Withheld: tell.Texts(t.d.Reasons[i]),
		First: t.called.Causes(state.Trip.FirstOut), Alongside: t.called.Causes(state.Trip.Alongside),
		Unknown:     state.Mode == interlock.Tripped && state.Trip.OrderUnknown(),
		Unconfirmed: unconfirmedTexts(state.Unconfirmed),
	}
}

func (n *Names) vesselNow(i int, s *interlock.State, d *interlock.Decision) VesselShown {
	c, state := &n.Config.Vessels[i], &s.Vessels[i]
	shown := VesselShown{Bond: c.BondedBy.Eval(d.Keep).String(), MayCharged: !state.Clear, Early: state.Early}
	if !state.Clear {
		shown.Waiting = state.Waited > 0
		shown.LeftNs = int64(time.Duration(c.Wait.Next()-min(state.Waited, c.Wait)) * n.Period)
	}
	return shown
}

// advise says what follows for people. Normal is silent.
func (t *teller) advise(shot *Snapshot) {
	scene := t.scene()
	say := func(rank tell.Rank, kind LaneKind, name, text string) {
		if text != "" {
			shot.Advice = append(shot.Advice, Advice{rank, text, string(kind) + ":" + name})
		}
	}
	for i, name := range t.called.Vessels {
		say(tell.Act, LaneVessel, name, scene.Vessel(i))
		say(tell.Todo, LaneVessel, name, scene.Early(i))
	}
	for i, name := range t.called.Outputs {
		say(tell.Abnormal, LaneOutput, name, scene.Latched(i))
	}
	for i, name := range t.called.Bypasses {
		say(tell.Abnormal, LaneBypass, name, scene.Bypass(i))
	}
}
