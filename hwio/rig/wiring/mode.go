package wiring

// Mode is what the program does on the bench.
type Mode uint8

// The three modes. The zero Mode only listens.
const (
	Listen Mode = iota
	Stimulate
	StandIn
)

// String is the mode's word in records.
func (m Mode) String() string { return [...]string{"listen", "stimulate", "stand-in"}[m] }
