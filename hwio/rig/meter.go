package rig

import (
	"fmt"
	"sync"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
	"ohmgate/monitor"
)

// meterReader takes one reading after the other from a meter, beside the scan: a meter takes as long as it takes, and one that
// is silent must not hold up the logic. A scan is given what came since the scan before; nothing is given twice.
type meterReader struct {
	device *scpi.Device
	stop   chan struct{}

	guard   sync.Mutex
	fresh   bool
	reading monitor.Reading
	missed  int
	longest time.Duration
	lost    error
}

// readMeter begins to read a meter; end() makes it stop after the reading under way. Bench.Close waits for it.
func (b *Bench) readMeter(module int) *meterReader {
	r := &meterReader{device: b.devices[module], stop: make(chan struct{})}
	b.readers.Go(r.run)
	return r
}

func (r *meterReader) run() {
	for {
		select {
		case <-r.stop:
			return
		default:
		}
		begun := port.Now()
		measured, _, err := r.device.Measure()
		if !r.note(measured, err, port.Now().Sub(begun)) {
			return
		}
	}
}

// note keeps one reading; false: the line is lost.
func (r *meterReader) note(measured scpi.Resistance, err error, took time.Duration) bool {
	r.guard.Lock()
	defer r.guard.Unlock()
	switch {
	case fatal(err):
		r.lost = lost(err)
		return false
	case err != nil:
		r.missed++
		return true
	}
	r.fresh, r.reading, r.longest = true, fromMeter(measured), max(r.longest, took)
	return true
}

// take is the reading that came since the last call; false: none did.
func (r *meterReader) take() (reading monitor.Reading, fresh bool, err error) {
	r.guard.Lock()
	defer r.guard.Unlock()
	reading, fresh, r.fresh = r.reading, r.fresh, false
	return reading, fresh, r.lost
}

func (r *meterReader) end() { close(r.stop) }

// fromMeter turns what a meter said into a reading; overload has become a class before any number.
func fromMeter(measured scpi.Resistance) monitor.Reading {
	switch measured.Class {
	case scpi.OverRange:
		return monitor.Reading{Quality: monitor.OverRange}
	case scpi.Value:
		return monitor.Reading{Quality: monitor.Valid, Value: monitor.Microohm(measured.Microohms)}
	}
	return monitor.Reading{Quality: monitor.Bad}
}

// readMeters begins to read every meter that a channel is read from.
func (s *Standing) readMeters() {
	s.meters = make([]*meterReader, len(s.Logic.Channels))
	for i := range s.Bench.Map.Channels {
		if w := &s.Bench.Map.Channels[i]; w.Reads != nil && s.Bench.devices[w.Reads.Module] != nil {
			s.meters[i] = s.Bench.readMeter(w.Reads.Module)
		}
	}
}

// endMeters ends that, and tells how long a reading took where the site allows for less.
func (s *Standing) endMeters() {
	for i, r := range s.meters {
		if r == nil {
			continue
		}
		r.end()
		r.guard.Lock()
		s.Missed += r.missed
		if c := &s.Bench.Map.Site.Channels[i]; r.longest > c.Aperture {
			s.Heard = append(s.Heard, fmt.Sprintf("a reading of %s took up to %.0f ms, and the site allows for an aperture of %.0f ms: a loss is seen that much later", c.Name, ms(r.longest), ms(c.Aperture)))
		}
		r.guard.Unlock()
	}
}
