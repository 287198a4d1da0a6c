package monitor

import (
	"math"
	"math/big"
	"math/rand"
	"testing"
)

// Every threshold with its neighbours, and the ends of the integers. The
// channel reads from micro-ohms on; its limits are those of `rack`.
func TestThresholds(t *testing.T) {
	c := rack()
	cases := []struct {
		value Microohm
		want  Class
	}{
		{math.MinInt64, Invalid}, {math.MinInt64 + 1, Invalid}, {-1_000_000, Invalid}, {-1, Invalid}, {0, Invalid}, {1, Invalid},
		{49_999, Invalid}, {50_000, Good}, {50_001, Good},
		{8_999_999, Good}, {9_000_000, Good}, {9_000_001, Between},
		{9_999_999, Between}, {10_000_000, Between}, {10_000_001, High},
		{999_999_999, High}, {1_000_000_000, Open}, {1_000_000_001, Open},
		{1_999_999_999, Open}, {2_000_000_000, Open}, {2_000_000_001, Invalid},
		{1_000_000_000_000_000_000, Invalid}, {math.MaxInt64 - 1, Invalid}, {math.MaxInt64, Invalid},
	}
	for _, k := range cases {
		if got := classify(&c, valid(k.value, 0)); got != k.want {
			t.Errorf("%d µΩ is %v, want %v", k.value, got, k.want)
		}
	}
	c.Floor, c.ValidMax = 0, 0
	for _, k := range []struct {
		value Microohm
		want  Class
	}{{-1, Invalid}, {math.MinInt64, Invalid}, {0, Good}, {1, Good}, {math.MaxInt64, Open}, {1_000_000_000_000_000_000, Open}} {
		if got := classify(&c, valid(k.value, 0)); got != k.want {
			t.Errorf("no floor, no band: %d µΩ is %v, want %v", k.value, got, k.want)
		}
	}
	c.Reject = c.Accept // no `between` at all
	if classify(&c, valid(9_000_000, 0)) != Good || classify(&c, valid(9_000_001, 0)) != High {
		t.Error("accept at reject")
	}
}

// The limits that sites use, as values that the classes must sort, each with its
// source.
func TestPublishedLimits(t *testing.T) {
	const ohm Microohm = 1_000_000
	cases := []struct {
		source string
		limit  Microohm
	}{
		{"all-metal path: typically < 10 Ω, more suggests a loose or corroded joint (NFPA 77 (2007) 6.4.1.3.1; from memory)", 10 * ohm},
		{"FIBC type C, 2012 edition: 1e7 Ω (IEC 61340-4-4:2018 list of changes)", 10_000_000 * ohm},
		{"FIBC type C, 2018 edition: 1e8 Ω (IEC 61340-4-4:2018 list of changes)", 100_000_000 * ohm},
		{"conductors: 1e6 Ω (TRGS 727 8.3)", 1_000_000 * ohm},
		{"rail tank car: bond required where car to ground via rails is >= 25 Ω (FC 5706.5.7)", 25 * ohm},
		{"the longest decade that the program reads: 1e12 Ω", 1_000_000_000_000 * ohm},
	}
	for _, k := range cases {
		c := Config{Accept: k.limit / 10 * 9, Reject: k.limit, OpenAbove: k.limit + 1}
		for _, v := range []struct {
			value Microohm
			want  Class
		}{{k.limit/10*9 - 1, Good}, {k.limit / 10 * 9, Good}, {k.limit/10*9 + 1, Between}, {k.limit, Between}, {k.limit + 1, Open}} {
			if got := classify(&c, valid(v.value, 0)); got != v.want {
				t.Errorf("%s: %d µΩ is %v, want %v", k.source, v.value, got, v.want)
			}
		}
		c.OpenAbove++
		if classify(&c, valid(k.limit+1, 0)) != High {
			t.Errorf("%s: the next micro-ohm is not high", k.source)
		}
	}
}

func TestOverRange(t *testing.T) {
	c := rack()
	for _, v := range []Microohm{math.MinInt64, -1, 0, 1, 8_000_000, math.MaxInt64} {
		c.OverRangeIsOpen = true
		if got := classify(&c, Reading{Value: v, Quality: OverRange}); got != Open {
			t.Errorf("over-range with value %d: %v", v, got)
		}
		c.OverRangeIsOpen = false
		if got := classify(&c, Reading{Value: v, Quality: OverRange}); got != Invalid {
			t.Errorf("over-range by a broken instrument with value %d: %v", v, got)
		}
	}
}

// NAMUR NE 43 (from memory) and the percentages that follow: 3.6 fail, 3.8 valid, 12 mA 50 %, 20.5 valid, 21.0
// fail; (I-4)/16: 3.6 -> -2.5, 3.8 -> -1.25, 20.5 -> 103.125, 21 -> 106.25 %.
func TestFromCurrent(t *testing.T) {
	const percent, low Microohm = 1_000_000, 200_000_000 // a range from 200 % up, so that -1.25 % stays positive
	cases := []struct {
		current Microampere
		quality Quality
		above   Microohm // millionths of a percent above low
	}{
		{math.MinInt64, Bad, 0}, {-4_000, Bad, 0}, {0, Bad, 0}, {3_599, Bad, 0}, {3_600, Bad, 0}, {3_601, Bad, 0}, {3_799, Bad, 0},
		{3_800, Valid, -1_250_000}, {3_801, Valid, -1_243_750}, {4_000, Valid, 0}, {12_000, Valid, 50_000_000}, {20_000, Valid, 100_000_000}, {20_500, Valid, 103_125_000},
		{20_501, OverRange, 0}, {20_999, OverRange, 0}, {21_000, Bad, 0}, {21_001, Bad, 0}, {math.MaxInt64, Bad, 0},
	}
	for _, k := range cases {
		value, quality := FromCurrent(k.current, low, low+100*percent)
		if quality != k.quality || quality == Valid && value != low+k.above {
			t.Errorf("%d µA: %v %d, want %v %d", k.current, quality, value, k.quality, low+k.above)
		}
	}
	// A range that starts at zero: under 4 mA the value is negative, so invalid.
	c := rack()
	value, quality := FromCurrent(3_900, 0, 20_000_000)
	if class := classify(&c, Reading{Value: value, Quality: quality}); value != -125_000 || class != Invalid {
		t.Errorf("3.9 mA of 0 to 20 Ω is %d µΩ, %v", value, class)
	}
	for _, r := range [][2]Microohm{{5, 5}, {5, 4}, {-1, 5}} {
		if _, quality := FromCurrent(12_000, r[0], r[1]); quality != Bad {
			t.Errorf("the range %v is believed", r)
		}
	}
}

// The value is the exact quotient rounded up, to 1e12 Ω.
func TestFromCurrentRoundsUp(t *testing.T) {
	r := rand.New(rand.NewSource(43))
	for i := 0; i < 20_000; i++ {
		low := Microohm(r.Int63n(1_000_000_000))
		high := low + 1 + Microohm(r.Int63n(1_000_000_000_000_000_000))>>r.Intn(60)
		current := measuredMin + Microampere(r.Int63n(int64(measuredMax-measuredMin)+1))
		got, quality := FromCurrent(current, low, high)
		product := new(big.Int).Mul(big.NewInt(int64(high-low)), big.NewInt(int64(current-4_000)))
		quotient, rest := new(big.Int).DivMod(product, big.NewInt(16_000), new(big.Int))
		if rest.Sign() > 0 {
			quotient.Add(quotient, big.NewInt(1))
		}
		if quality != Valid || int64(got-low) != quotient.Int64() {
			t.Fatalf("%d µA of %d..%d: %d, want %v above low", current, low, high, got, quotient)
		}
	}
}
