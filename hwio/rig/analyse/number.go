package analyse

import (
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// nanoseconds reads a decimal number of a unit as whole nanoseconds, rounding down, without floats.
func nanoseconds(text string, comma bool, unit int64) (int64, error) {
	plain := strings.TrimSpace(text)
	wrong := fmt.Errorf("time %q: write a number, like 31179 or 31179.25", text)
	if comma {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	if plain == "" || len(plain) > 40 || strings.Trim(plain, "0123456789+-.eE") != "" {
		return 0, wrong
	}
	if _, power, ok := strings.Cut(strings.ToLower(plain), "e"); ok {
		if n, err := strconv.Atoi(power); err != nil || n < -30 || n > 30 {
			return 0, wrong
		}
	}
	number, ok := new(big.Rat).SetString(plain)
	if !ok {
		return 0, wrong
	}
	number.Mul(number, new(big.Rat).SetInt64(unit))
	whole := new(big.Int).Div(number.Num(), number.Denom())
	if !whole.IsInt64() || whole.CmpAbs(big.NewInt(1<<60)) > 0 {
		return 0, wrong
	}
	return whole.Int64(), nil
}

// baseOf guesses whether values without a mark are hexadecimal: all of them are two digits long; or decimal: all are whole
// numbers up to 255. Zero: neither.
func baseOf(values []place) int {
	two, decimal := true, true
	for index := range values {
		text, marked := unmarked(values[index].text)
		if marked {
			continue
		}
		two = two && len(text) == 2
		number, err := strconv.ParseUint(text, 10, 8)
		decimal = decimal && err == nil && fmt.Sprint(number) == text
	}
	switch {
	case two:
		return 16
	case decimal:
		return 10
	}
	return 0
}

// unmarked takes 0x or a trailing h off a hexadecimal number.
func unmarked(text string) (plain string, marked bool) {
	lower := strings.ToLower(text)
	if plain, marked = strings.CutPrefix(lower, "0x"); marked {
		return plain, true
	}
	return strings.CutSuffix(lower, "h")
}

func readValue(text string, base int) (byte, error) {
	plain, marked := unmarked(text)
	number, wrong := strconv.ParseUint(plain, 10, 64)
	switch {
	case strings.ContainsAny(plain, " ,;"):
		return 0, errors.New("several bytes in one row: export one byte a row, each with its time")
	case marked:
		base = 16
	case wrong == nil && number > 255 && base != 16:
		return 0, fmt.Errorf("byte %q is above 255: export bytes, one a row", text)
	case base == 0:
		return 0, fmt.Errorf("byte %q: decimal or hexadecimal? Write two hexadecimal digits everywhere, or call the column byte_dec or byte_hex", text)
	}
	value, err := strconv.ParseUint(plain, base, 8)
	if err != nil {
		return 0, fmt.Errorf("byte %q: write two hexadecimal digits, or a decimal number up to 255", text)
	}
	return byte(value), nil
}
