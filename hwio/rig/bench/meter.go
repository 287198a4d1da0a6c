package bench

import (
	"sync"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
	"ohmgate/monitor"
)

// MeterReader takes one reading after the other from a meter, beside the scan: a meter takes as long as it takes, and one that
// is silent must not hold up the logic. A scan is given what came since the scan before; nothing is given twice.
type MeterReader struct {
	device *scpi.Device
	stop   chan struct{}

	guard   sync.Mutex
	fresh   bool
	reading monitor.Reading
	missed  int
	longest time.Duration
	lost    error
}

// ReadMeter begins to read a meter; End makes it stop after the reading under way. Bench.Close waits for it.
func (b *Bench) ReadMeter(module int) *MeterReader {
	r := &MeterReader{device: b.devices[module], stop: make(chan struct{})}
	b.readers.Go(r.run)
	return r
}

func (r *MeterReader) run() {
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
func (r *MeterReader) note(measured scpi.Resistance, err error, took time.Duration) bool {
	r.guard.Lock()
	defer r.guard.Unlock()
	switch {
	case Fatal(err):
		r.lost = Lost(err)
		return false
	case err != nil:
		r.missed++
		return true
	}
	r.fresh, r.reading, r.longest = true, fromMeter(measured), max(r.longest, took)
	return true
}

// Take is the reading that came since the last call; false: none did.
func (r *MeterReader) Take() (reading monitor.Reading, fresh bool, err error) {
	r.guard.Lock()
	defer r.guard.Unlock()
	reading, fresh, r.fresh = r.reading, r.fresh, false
	return reading, fresh, r.lost
}

// End makes it stop, and says how many readings did not come and how long the slowest took.
func (r *MeterReader) End() (missed int, longest time.Duration) {
	close(r.stop)
	r.guard.Lock()
	defer r.guard.Unlock()
	return r.missed, r.longest
}

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
