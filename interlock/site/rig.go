package site

import (
	"time"

	"ohmgate/monitor"
)

// Rig maps the site's names to modules and instruments on a serial line.
type Rig struct {
	Set     bool
	Ports   []RigPort
	Modules []RigModule
	Points  []RigPoint
	Cal     string // calibration file of the decade
	Supply  RigSupply
}

// RigSupply is the relay that feeds the unit under test, so that a run can begin
// at power-up.
type RigSupply struct {
	Module string // empty: people switch it
	Point  int
	Boot   time.Duration // longest time from supply to the first scan
}

// RigPort is one serial line.
type RigPort struct {
	Name   string
	Device string // path, or tcp://host:port
	Baud   int
	Frame  string // 8E1, 8N2, …
}

// RigModule is one device on a port.
type RigModule struct {
	Name       string
	Port       string
	Kind       string // relays | inputs | resistance | scpi-decade | scpi-meter
	Address    int
	Identify   string // expected identification
	Serial     string
	CalDue     string
	Turnaround time.Duration
	OperateMax time.Duration // relays: longest time from command to contact
	TimeOut    time.Duration // relays: fall after this silence
	BreakTime  time.Duration // decade: longest glitch of a step
	Commands   map[string]string
}

// RigPoint says which relay, input or register is which channel, contact,
// button or confirmation.
type RigPoint struct {
	Name   string // site name: channel, input or output
	Module string
	Point  int
	Use    string // drives | reads | series-break | short | bridge | loopback
	Unit   string

	// Resistor is what this relay puts across the channel's terminals.
	Resistor monitor.Microohm
}
