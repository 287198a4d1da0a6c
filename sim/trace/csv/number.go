package csv

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
