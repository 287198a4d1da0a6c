package csv

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// clock reads times of one format. Local times are turned into instants with
// the zone's own rules; where a local time comes twice in a night of autumn, it
// is the one that does not run back.
type clock struct {
	kind  clockKind
	parts []part
	zone  *time.Location

	last     int64 // ns of the last instant
	started  bool
	hour     int64 // local hour whose offsets are known
	offsets  [2]int64
	possible int // how many offsets the hour has: 0 in the gap of spring, 2 in autumn
}

type clockKind uint8

const (
	clockSeconds clockKind = iota // since the beginning; also decimal Unix seconds
	clockMillis
	clockMicros
	clockRFC3339
	clockPattern
)

// part is one piece of a pattern: a field of digits, or one literal character.
type part struct {
	field  byte // y M d H m s f, or 0
	digits int
	char   byte
}

var errTime = errors.New("not a time of this format")

// errNoSuchTime is a local time that the clocks left out in spring.
var errNoSuchTime = errors.New("a local time that the clocks left out")

func compileClock(format string, zone *time.Location) (*clock, error) {
	c := &clock{zone: zone, hour: -1 << 62}
	switch format {
	case "seconds", "unix s":
		c.kind = clockSeconds
		return c, nil
	case "unix ms":
		c.kind = clockMillis
		return c, nil
	case "unix us":
		c.kind = clockMicros
		return c, nil
	case "rfc3339":
		c.kind = clockRFC3339
		return c, nil
	}
	c.kind = clockPattern
	seen := map[byte]bool{}
	for i := 0; i < len(format); {
		letter := format[i]
		if !strings.ContainsRune("yMdHmsf", rune(letter)) {
			c.parts = append(c.parts, part{char: letter})
			i++
			continue
		}
		n := i
		for n < len(format) && format[n] == letter {
			n++
		}
		if seen[letter] {
			return nil, fmt.Errorf("the time format %q has %q twice", format, letter)
		}
		seen[letter] = true
		c.parts = append(c.parts, part{field: letter, digits: n - i})
		i = n
	}
	for _, letter := range []byte("yMdHms") {
		if !seen[letter] {
			return nil, fmt.Errorf("the time format %q has no %q", format, letter)
		}
	}
	return c, nil
}

// read turns a text into nanoseconds since 1970, or since the beginning where
// the file counts from there.
func (c *clock) read(text []byte, point byte) (int64, error) {
	var at int64
	var err error
	switch c.kind {
	case clockPattern:
		at, err = c.readPattern(text)
	case clockRFC3339:
		t, problem := time.Parse(time.RFC3339Nano, string(text))
		at, err = t.UnixNano(), problem
	default:
		decimals := map[clockKind]int{clockSeconds: 9, clockMillis: 6, clockMicros: 3}[c.kind]
		at, err = decimalTime(text, point, decimals)
	}
	if err != nil {
		return 0, err
	}
	c.last, c.started = max(c.last, at), true
	return at, nil
}

func decimalTime(text []byte, point byte, decimals int) (int64, error) {
	line := append(append([]byte(nil), text...), 0)
	if v, next, ok := fixed(line, 0, 0, point, decimals); ok && next == len(text) {
		return v, nil
	}
	n, ok := parseNumber(text, point)
	if !ok || n.class != plain {
		return 0, errTime
	}
	v, fits := n.scaled(decimals)
	if !fits {
		return 0, errTime
	}
	return v, nil
}

// readPattern reads the fields of a pattern. A field may be shorter than the
// pattern where a separator follows, and fractions may have any length.
func (c *clock) readPattern(text []byte) (int64, error) {
	var f [128]int64
	nanos, at := int64(0), 0
	for i, p := range c.parts {
		if p.field == 0 {
			if at >= len(text) || text[at] != p.char {
				if p.char == '.' || p.char == ',' { // a whole second, written without its fraction
					continue
				}
				return 0, errTime
			}
			at++
			continue
		}
		v, n, limit := int64(0), 0, p.digits
		if p.field == 'f' || i+1 < len(c.parts) && c.parts[i+1].field == 0 {
			limit = max(9, p.digits)
		}
		for n < limit && at < len(text) && text[at] >= '0' && text[at] <= '9' {
			v = v*10 + int64(text[at]-'0')
			n++
			at++
		}
		if p.field == 'f' {
			for ; n < 9; n++ {
				v *= 10
			}
			nanos = v
			continue
		}
		if n == 0 {
			return 0, errTime
		}
		f[p.field] = v
	}
	if at != len(text) {
		return 0, errTime
	}
	if f['y'] < 100 {
		f['y'] += 2000
	}
	if f['M'] < 1 || f['M'] > 12 || f['d'] < 1 || f['d'] > 31 || f['H'] > 24 || f['m'] > 59 || f['s'] > 60 || f['y'] > 2200 {
		return 0, errTime
	}
	local := daysFromCivil(f['y'], f['M'], f['d'])*86400 + f['H']*3600 + f['m']*60 + f['s']
	seconds, err := c.instant(local)
	return seconds*1e9 + nanos, err
}

// daysFromCivil counts days since 1970 in the Gregorian calendar.
func daysFromCivil(y, m, d int64) int64 {
	if m <= 2 {
		y--
		m += 12
	}
	era := y / 400
	if y < 0 {
		era = (y - 399) / 400
	}
	yearOfEra := y - era*400
	dayOfYear := (153*(m-3)+2)/5 + d - 1
	return era*146097 + yearOfEra*365 + yearOfEra/4 - yearOfEra/100 + dayOfYear - 719468
}

// ambiguous is how far an instant may lie before the last one and still be a row
// out of order rather than the second of two equal local hours.
const ambiguous = 30 * 60

// instant turns a local time into an instant.
func (c *clock) instant(local int64) (int64, error) {
	if c.zone == time.UTC {
		return local, nil
	}
	// Offsets change on the quarter of an hour at the finest.
	if quarter := local / 900; quarter != c.hour {
		c.hour, c.possible = quarter, 0
		start := quarter * 900
		var tried [2]int64
		for i, guess := range [...]int64{start - 86400, start + 86400} {
			_, offset := time.Unix(guess, 0).In(c.zone).Zone()
			tried[i] = int64(offset)
		}
		for i, offset := range tried {
			_, there := time.Unix(start-offset, 0).In(c.zone).Zone()
			if int64(there) == offset && (i == 0 || c.possible == 0 || offset != c.offsets[0]) {
				c.offsets[c.possible] = offset
				c.possible++
			}
		}
	}
	switch c.possible {
	case 0:
		return 0, errNoSuchTime
	case 1:
		return local - c.offsets[0], nil
	}
	early, late := local-max(c.offsets[0], c.offsets[1]), local-min(c.offsets[0], c.offsets[1])
	if c.started && early < c.last/1e9-ambiguous {
		return late, nil
	}
	return early, nil
}
