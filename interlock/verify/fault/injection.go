package fault

import (
	"cmp"
	"encoding/binary"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// injection is what looks do to the inputs of a scan, as data. Very many faults differ
// in their cause and do the same to the logic: equal injections run equally, and are
// run once.
type injection struct {
	reads     []turns[monitor.Class]
	signals   []turns[interlock.Signal]
	silent    bool // nothing arrives
	overruns  bool
	unpowered bool // the supply is lost before every scan
}

// turns is what one channel or input shows, over and over from the first scan on.
type turns[T ~uint8] struct {
	number int
	shows  []T
}

// asBefore, in place of a class or a signal, leaves what was there.
const asBefore = 0xff

func showing[T ~uint8](number int, shows ...T) []turns[T] { return []turns[T]{{number, shows}} }

// then is what two injections do where the second has the last word.
func (d injection) then(last injection) injection {
	if last.silent {
		d.reads, d.signals = nil, nil
	}
	return injection{
		reads:   slices.DeleteFunc(over(d.reads, last.reads), onlyGood),
		signals: over(d.signals, last.signals),
		silent:  d.silent || last.silent, overruns: d.overruns || last.overruns, unpowered: d.unpowered || last.unpowered,
	}
}

// injectionOf is what looks do together, the last with the last word.
func injectionOf(looks []look) injection {
	var d injection
	for i := range looks {
		d = d.then(looks[i].does)
	}
	return d
}

// onlyGood: a healthy plant reads that anyway.
func onlyGood(t turns[monitor.Class]) bool {
	return len(t.shows) == 1 && t.shows[0] == monitor.Good
}

// over merges two lists, each in the order of its numbers.
func over[T ~uint8](first, last []turns[T]) []turns[T] {
	list := make([]turns[T], 0, len(first)+len(last))
	for len(first) > 0 && len(last) > 0 {
		switch cmp.Compare(first[0].number, last[0].number) {
		case -1:
			list, first = append(list, first[0]), first[1:]
		case +1:
			list, last = append(list, last[0]), last[1:]
		default:
			list = append(list, turns[T]{first[0].number, laid(first[0].shows, last[0].shows)})
			first, last = first[1:], last[1:]
		}
	}
	return append(append(list, first...), last...)
}

// laid lays one sequence over another; one that never changes is told in short.
func laid[T ~uint8](under, above []T) []T {
	if len(above) == 1 && above[0] != asBefore {
		return above
	}
	n := len(under) * len(above)
	if len(under) == len(above) {
		n = len(under)
	}
	shows := make([]T, n)
	for i := range shows {
		if shows[i] = above[i%len(above)]; shows[i] == asBefore {
			shows[i] = under[i%len(under)]
		}
	}
	if !slices.ContainsFunc(shows, func(x T) bool { return x != shows[0] }) {
		return shows[:1]
	}
	return shows
}

// key tells injections apart.
func (d *injection) key() string {
	b := []byte{byte(model.Int(d.silent) | model.Int(d.overruns)<<1 | model.Int(d.unpowered)<<2)}
	b = keyed(b, d.reads)
	b = keyed(append(b, asBefore), d.signals)
	return string(b)
}

func keyed[T ~uint8](b []byte, list []turns[T]) []byte {
	for _, t := range list {
		b = binary.AppendUvarint(append(b, 1), uint64(t.number))
		b = binary.AppendUvarint(b, uint64(len(t.shows)))
		for _, x := range t.shows {
			b = append(b, byte(x))
		}
	}
	return b
}

// period is after how many scans an injection does the same again.
func (d *injection) period() model.Scans {
	return model.Scans(multiple(d.reads) * multiple(d.signals))
}

func multiple[T ~uint8](list []turns[T]) int {
	n := 1
	for _, t := range list {
		if n%len(t.shows) != 0 {
			n *= len(t.shows)
		}
	}
	return n
}

// do changes the inputs of a scan that a healthy plant has filled.
func (d *injection) do(to *runs.Driver, scan model.Scans) {
	if d.silent {
		clear(to.In.Readings)
		clear(to.In.Signals)
	}
	for _, t := range d.reads {
		if news := t.shows[uint64(scan)%uint64(len(t.shows))]; news != asBefore {
			to.In.Readings[t.number] = table.ReadingOf(&to.Config.Channels[t.number].Config, news, to.Stamp)
		}
	}
	for _, t := range d.signals {
		if signal := t.shows[uint64(scan)%uint64(len(t.shows))]; signal != asBefore {
			to.In.Signals[t.number] = signal
		}
	}
	to.In.Overrun = to.In.Overrun || d.overruns
	to.Supply = to.Supply || d.unpowered
}
