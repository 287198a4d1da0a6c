package scpi

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Source: NR1, NR2, NR3 and the special values, from memory of SCPI-99 volume 1 chapter 7. A negative resistance is no
// reading (common practice).
func TestResistances(t *testing.T) {
	device := Overload{Words: []string{"OVLD", "O.L"}, From: "1.2E9"}
	for _, row := range []struct {
		text      string
		class     Class
		microohms int64
	}{
		{"10", Value, 10_000_000}, {"10.5", Value, 10_500_000}, {"+1.05000000E+01", Value, 10_500_000},
		{" 0 \r", Value, 0}, {"-0.000", Value, 0}, {"+.5", Value, 500_000}, {"12.", Value, 12_000_000},
		{"1.5e-3", Value, 1500}, {"1 E 2", Value, 100_000_000},
		{"0.0000001", Value, 1}, {"9.0000001", Value, 9_000_001}, // rounded up, away from a good bond
		{"9.9E37", OverRange, 0}, {"+9.90000000E+37", OverRange, 0}, {"9.9000003E37", OverRange, 0}, {"INF", OverRange, 0},
		{"1E38", OverRange, 0}, {"1E300", OverRange, 0}, {"9.2E12", OverRange, 0}, {"1.2E9", OverRange, 0}, {"ovld", OverRange, 0}, {"O.L", OverRange, 0},
		{"1.1999E9", Value, 1_199_900_000_000_000},
		{"-9.9E37", Invalid, 0}, {"NINF", Invalid, 0}, {"9.91E37", Invalid, 0}, {"9.9100003E37", Invalid, 0}, {"+9.91000000E+37", Invalid, 0}, {"-9.91E37", Invalid, 0}, {"NAN", Invalid, 0},
		{"-0.001", Invalid, 0}, {"-1E-300", Invalid, 0}, {"-10", Invalid, 0},
		{"", Invalid, 0}, {"E5", Invalid, 0}, {"1E", Invalid, 0}, {"1E99999999999", Invalid, 0}, {"1.2.3", Invalid, 0}, {"+-1", Invalid, 0},
		{"10 OHM", Invalid, 0}, {"0x10", Invalid, 0}, {"1_0", Invalid, 0}, {"1/3", Invalid, 0}, {"10,20", Invalid, 0}, {"Infinity!", Invalid, 0},
	} {
		got := ParseResistance(row.text, device)
		require.Equal(t, row.class, got.Class, "%q: %s", row.text, got.Reason)
		require.Equal(t, row.microohms, got.Microohms, row.text)
		if row.class != Value {
			require.NotEmpty(t, got.Reason, row.text)
		}
	}
	require.Equal(t, OverRange, ParseResistance("9.2233720368547758080E12", Overload{}).Class, "one micro-ohm more than an int64 holds")
	require.Equal(t, int64(math.MaxInt64), ParseResistance("9223372036854.775807", Overload{}).Microohms)
	require.Equal(t, Invalid, Resistance{}.Class, "the zero value denies")
	require.Equal(t, "10.500000 Ω", ParseResistance("10.5", device).String())
}

// Any number is read as exact arithmetic reads it, rounded up; formatting and reading agree.
func TestNumbersAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.Int64Range(0, 1<<53).Draw(t, "digits")
		power := rapid.IntRange(-30, 5).Draw(t, "power")
		text := fmt.Sprintf("%dE%d", digits, power)
		exact, _ := new(big.Rat).SetString(text)
		exact.Mul(exact, big.NewRat(1_000_000, 1))
		got := ParseResistance(text, Overload{})
		if got.Class == OverRange {
			require.Positive(t, exact.Cmp(new(big.Rat).SetInt64(math.MaxInt64)))
			return
		}
		require.Equal(t, Value, got.Class)
		require.GreaterOrEqual(t, new(big.Rat).SetInt64(got.Microohms).Cmp(exact), 0)
		require.Negative(t, new(big.Rat).SetInt64(got.Microohms-1).Cmp(exact))
	})
	rapid.Check(t, func(t *rapid.T) {
		microohms := rapid.Int64Range(0, math.MaxInt64).Draw(t, "microohms")
		require.Equal(t, microohms, ParseResistance(FormatOhms(microohms), Overload{}).Microohms)
		require.Equal(t, microohms, ParseResistance(FormatReading(Resistance{Class: Value, Microohms: microohms}), Overload{}).Microohms)
	})
	for _, class := range []Class{OverRange, Invalid} {
		require.Equal(t, class, ParseResistance(FormatReading(Resistance{Class: class}), Overload{}).Class)
	}
}

func FuzzParseResistance(f *testing.F) {
	for _, seed := range []string{"10", "10.5", "1.05E+1", "9.9E37", "9.91E37", "-1", "NAN", "1E400", "1E401", ""} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got := ParseResistance(text, Overload{Words: []string{"OVLD"}})
		if got.Class != Value {
			if got.Microohms != 0 || got.Reason == "" {
				t.Fatalf("%q: %+v", text, got)
			}
			return
		}
		if got.Microohms < 0 {
			t.Fatalf("%q became %d", text, got.Microohms)
		}
		// Go's own parser, where it understands the text, is near.
		if value, err := strconv.ParseFloat(text, 64); err == nil && math.Abs(value*1e6-float64(got.Microohms)) > 2+1e-9*float64(got.Microohms) {
			t.Fatalf("%q became %d", text, got.Microohms)
		}
	})
}
