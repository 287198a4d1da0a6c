package trace

import (
	"ohmgate/interlock"
	"ohmgate/interlock/tell"
)

// Names is what the recording calls the parts of its site.
func (h *Header) Names() *tell.Names {
	return &tell.Names{Channels: h.Channels, Inputs: h.Inputs, Outputs: h.Outputs, Vessels: h.Vessels, Streams: h.Streams, Bypasses: h.Bypasses}
}

// AppendEvents adds the records of all events of one scan, separated by "; ".
func (h *Header) AppendEvents(to []byte, events []interlock.Event) []byte {
	if len(events) == 0 {
		return to
	}
	return h.Names().AppendRecords(to, events)
}
