package csv

import (
	"bytes"
	"strconv"
)

// fixed reads a plain decimal number that ends at a separator, as an integer of
// 10^-decimals. next is the place of the separator. ok is false for anything
// else: no digits, more decimals than fit, an exponent, too many digits.
func fixed(line []byte, from int, separator, point byte, decimals int) (value int64, next int, ok bool) {
	at := from
	negative := line[at] == '-'
	if negative {
		at++
	}
	first := at
	var v uint64
	c := line[at]
	for c >= '0' && c <= '9' {
		v = v*10 + uint64(c-'0')
		at++
		c = line[at]
	}
	digits := at - first
	left := decimals
	if c == point && point != separator {
		at++
		c = line[at]
		for c >= '0' && c <= '9' && left > 0 {
			v = v*10 + uint64(c-'0')
			at++
			left--
			c = line[at]
		}
		digits += decimals - left
	}
	if c != separator || digits == 0 || digits > 18 || digits+left > 18 {
		return 0, at, false
	}
	for ; left > 0; left-- {
		v *= 10
	}
	if negative {
		return -int64(v), at, true
	}
	return int64(v), at, true
}

// class of a text that stands where a number should.
type class uint8

const (
	plain class = iota
	notANumber
	infinite
	negativeInfinite
)

// number is a decimal number of any size, or what stands in its place.
type number struct {
	class    class
	negative bool
	digits   uint64 // the first 18 that count; further ones are cut off
	exponent int
}

// parseNumber reads a number as programs write them: sign, decimals, exponent,
// NaN and infinity in their usual spellings. ok is false for any other text.
func parseNumber(text []byte, point byte) (number, bool) {
	var n number
	at := 0
	if at < len(text) && (text[at] == '-' || text[at] == '+') {
		n.negative = text[at] == '-'
		at++
	}
	switch lower := string(bytes.ToLower(text[at:])); lower {
	case "nan", "1.#qnan", "1.#ind", "#n/a", "-nan":
		n.class = notANumber
		return n, true
	case "inf", "infinity", "1.#inf", "∞":
		n.class = infinite
		if n.negative {
			n.class = negativeInfinite
		}
		return n, true
	}
	seen, kept, afterPoint := 0, 0, false
	for ; at < len(text); at++ {
		c := text[at]
		if c == point && !afterPoint {
			afterPoint = true
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		seen++
		if kept < 18 {
			n.digits = n.digits*10 + uint64(c-'0')
			if n.digits > 0 {
				kept++
			}
			if afterPoint {
				n.exponent--
			}
		} else if !afterPoint {
			n.exponent++
		}
	}
	if seen == 0 {
		return n, false
	}
	if at < len(text) && (text[at] == 'e' || text[at] == 'E') {
		e, err := strconv.Atoi(string(text[at+1:]))
		if err != nil || e > 400 || e < -400 {
			return n, false
		}
		n.exponent += e
		at = len(text)
	}
	for n.digits > 0 && n.digits%10 == 0 { // so that equal numbers are equal
		n.digits /= 10
		n.exponent++
	}
	return n, at == len(text)
}

// scaled is the number in units of 10^-decimals, rounded half away from zero;
// fits is false if that is no 63-bit integer.
func (n number) scaled(decimals int) (value int64, fits bool) {
	shift := n.exponent + decimals
	v := n.digits
	for ; shift > 0 && v > 0; shift-- {
		if v > (1<<63-1)/10 {
			return 0, false
		}
		v *= 10
	}
	if shift < -20 {
		return 0, true
	}
	for ; shift < 0; shift++ {
		if shift == -1 {
			v += 5
		}
		v /= 10
	}
	if n.negative {
		return -int64(v), true
	}
	return int64(v), true
}
