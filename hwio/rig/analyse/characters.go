package analyse

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/port"
)

// usualSpeeds are those that a line is taken to have when nobody says.
var usualSpeeds = []int{1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 76800, 115200, 230400, 250000, 460800, 500000, 921600, 1000000}

// usualCharacters are the forms that a line is tried with, the specification's own first.
var usualCharacters = []string{"8E1", "8N1", "8N2", "8O1"}

// Speed tells the speed of a line from the length of its bytes, of eight data bits or of a whole character. Bytes that are as
// long as two usual speeds would make them, or no usual speed, tell nothing.
func Speed(bytes []Byte) (baud int, err error) {
	var lengths []int64
	for _, b := range bytes {
		lengths = append(lengths, b.End-b.Start)
	}
	slices.Sort(lengths)
	length := int64(0)
	if len(lengths) > 0 {
		length = lengths[len(lengths)/2]
	}
	unknown := fmt.Errorf("the bytes are %v long, which tells no speed; write --line \"19200 8E1\"", time.Duration(length))
	if length == 0 {
		return 0, errors.New("the capture has no end or duration of a byte, which would tell the speed; write --line \"19200 8E1\"")
	}
	const perMille = 20 // of deviation that clocks and samples may have
	least := int64(perMille)
	for _, speed := range usualSpeeds {
		for _, bits := range []int64{8, 10, 11} {
			due := bits * 1e9 / int64(speed)
			if off := abs(length-due) * 1000 / due; off < least {
				baud, least = speed, off
			}
		}
	}
	if baud == 0 {
		return 0, unknown
	}
	return baud, nil
}

func abs(n int64) int64 { return max(n, -n) }

// Lengthen gives bytes without an end the length of their data bits.
func Lengthen(bytes []Byte, baud int) {
	for index := range bytes {
		if b := &bytes[index]; b.End == b.Start {
			b.End += 8e9 / int64(baud)
		}
	}
}

// Level is a moment from which on a line is high or low.
type Level struct {
	At   int64 // ns
	High bool
}

// Characters reads the characters on a line from its levels, the whole line being recorded until end. The level that it has
// longest is rest: high behind a receiver, low where an analyser hangs on the RS-232 side.
func Characters(name string, levels []Level, end int64, line port.Line) (found []Byte) {
	if len(levels) == 0 {
		return nil
	}
	rest := restOf(levels, end)
	half := func(count int64) int64 { return count * 1e9 / (2 * int64(line.Baud)) }
	for at := 0; at < len(levels); at++ {
		if levels[at].High == rest {
			continue
		}
		begin := levels[at].At
		sample := func(bit int) bool { return levelAt(levels, begin+half(int64(2*bit+1))) == rest }
		if begin+half(int64(2*line.Bits())) > end || sample(0) {
			continue // cut off by the end of the record, or a spike
		}
		b := Byte{Start: begin + half(2), End: begin + half(int64(2+2*line.DataBits)), Line: name}
		ones := 0
		for bit := range line.DataBits {
			if sample(1 + bit) {
				b.Value |= 1 << bit
				ones++
			}
		}
		next := 1 + line.DataBits
		if line.Parity != port.NoParity {
			if sample(next) {
				ones++
			}
			if next++; ones%2 == 0 != (line.Parity == port.EvenParity) {
				b.Fault = "wrong parity"
			}
		}
		for ; next < line.Bits(); next++ {
			if !sample(next) {
				b.Fault = "no stop bit"
			}
		}
		found = append(found, b)
		for at+1 < len(levels) && levels[at+1].At < begin+half(int64(2*line.Bits()-1)) {
			at++
		}
	}
	return found
}

// restOf is the level that lasts longest without a change.
func restOf(levels []Level, end int64) (rest bool) {
	longest := int64(-1)
	for index, level := range levels {
		until := end
		if index+1 < len(levels) {
			until = levels[index+1].At
		}
		if until-level.At > longest {
			longest, rest = until-level.At, level.High
		}
	}
	return rest
}

// levelAt is the level at a moment; before the first change it was the opposite.
func levelAt(levels []Level, at int64) bool {
	index, exact := slices.BinarySearchFunc(levels, at, func(l Level, at int64) int {
		switch {
		case l.At < at:
			return -1
		case l.At > at:
			return 1
		}
		return 0
	})
	if exact {
		return levels[index].High
	}
	if index == 0 {
		return !levels[0].High
	}
	return levels[index-1].High
}

// FindLine tells speed and character of a line from its levels: the shortest pulse is one bit, and of the usual characters
// the one with the fewest faults is taken, if these are fewer than one in twenty.
func FindLine(levels []Level, end int64) (port.Line, error) {
	shortest := int64(1 << 62)
	for index := 1; index < len(levels); index++ {
		shortest = min(shortest, levels[index].At-levels[index-1].At)
	}
	unknown := fmt.Errorf("the shortest pulse is %v long, which tells no speed and character; write --line \"19200 8E1\"", time.Duration(shortest))
	if len(levels) < 20 {
		return port.Line{}, fmt.Errorf("%d changes of level tell no speed; write --line \"19200 8E1\", or record longer", len(levels))
	}
	speed, least := 0, int64(80) // out of a thousand: samples are coarse
	for _, one := range usualSpeeds {
		due := int64(1e9) / int64(one)
		if off := abs(shortest-due) * 1000 / due; off < least {
			speed, least = one, off
		}
	}
	if speed == 0 {
		return port.Line{}, unknown
	}
	best, fewest := port.Line{}, 1<<30
	for _, form := range usualCharacters {
		line, err := port.ParseLine(fmt.Sprintf("%d %s", speed, form))
		if err != nil {
			return line, err
		}
		faults, characters := 0, Characters("", levels, end, line)
		for _, b := range characters {
			if b.Fault != "" {
				faults++
			}
		}
		if faults*20 < len(characters) && faults < fewest {
			best, fewest = line, faults
		}
	}
	if best == (port.Line{}) {
		return best, unknown
	}
	return best, nil
}
