package verify

import (
	"ohmgate/interlock/fault"
	"ohmgate/interlock/verify/runs"
)

// FaultAt is a fault of the catalogue at one place of a site.
type FaultAt struct {
	Fault *fault.Fault
	On    string // channel, input, output or bypass; "bus", "logic"
}

// FaultsNear lists the faults that can be in the cone of an output, each at every
// place where it shows anything.
func FaultsNear(b *runs.Bench, output int) (list []FaultAt) {
	v := &verification{Bench: b}
	for _, p := range v.places(output) {
		list = append(list, FaultAt{p.fault, p.on})
	}
	return list
}
