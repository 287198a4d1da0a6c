package trace

import "ohmgate/monitor"

// AppendOhms writes micro-ohms as ohms, exactly and without needless zeros.
func AppendOhms(to []byte, v monitor.Microohm) []byte { return AppendFixed(to, int64(v), 6) }

// AppendFixed writes value / 10^decimals, exactly and without needless zeros.
func AppendFixed(to []byte, value int64, decimals int) []byte {
	u := uint64(value)
	if value < 0 {
		to, u = append(to, '-'), -u
	}
	var digits [24]byte
	at := len(digits)
	for n := 0; u > 0 || n <= decimals; n++ {
		if n == decimals {
			at--
			digits[at] = '.'
		}
		at--
		digits[at] = byte('0' + u%10)
		u /= 10
	}
	text := digits[at:]
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		text = text[:len(text)-1]
	}
	return append(to, text...)
}
