package quantity

import (
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text string
		d    Dimension
		want string // the ends in the base unit
	}{
		{"10 Ω", Resistance, "10..10"}, {"10Ω", Resistance, "10..10"}, {"10 \u2126", Resistance, "10..10"}, {"10 ohm", Resistance, "10..10"},
		{"0.05 Ω", Resistance, "0.05..0.05"}, {"50 mOhm", Resistance, "0.05..0.05"}, {"1 µΩ", Resistance, "0.000001..0.000001"}, {"1 uohm", Resistance, "0.000001..0.000001"},
		{"1e8 Ω", Resistance, "100000000..100000000"}, {"1E+2 MΩ", Resistance, "100000000..100000000"}, {"1 TΩ", Resistance, "1000000000000..1000000000000"},
		{"9..12 ms", Time, "0.009..0.012"}, {"9 ms..12 ms", Time, "0.009..0.012"}, {"9 ms .. 1 s", Time, "0.009..1"}, {"2 min", Time, "120..120"}, {"1.5 h", Time, "5400..5400"},
		{"-25..20 °C", Temperature, "-25..20"}, {"+20 degC", Temperature, "20..20"}, {"40 %", Ratio, "0.4..0.4"}, {"1480 /min", Rotation, "1480..1480"}, {"24.5 /s", Rotation, "1470..1470"},
		{"2.5 mm²", Area, "2.5..2.5"}, {"500..2000 pF", Capacitance, "0.0000000005..0.000000002"}, {"0.24 mJ", Energy, "0.00024..0.00024"}, {"100 mm", Length, "0.1..0.1"},
		{"0.5..1 pS/m", Conductivity, "0.0000000000005..0.000000000001"}, {"0.001..0.1 uC/kg", ChargePerMass, "0.000000001..0.0000001"}, {"900 g/s", MassFlow, "0.9..0.9"},
		{"4 m/s", Velocity, "4..4"}, {"1 uA", Current, "0.000001..0.000001"}, {"2.38", Number, "2.38..2.38"}, {"2..3", Number, "2..3"},
	} {
		got, err := Parse(c.text, c.d)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		show := func(r *big.Rat) string {
			text := r.FloatString(15)
			return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
		}
		if text := show(got.Lo) + ".." + show(got.Hi); text != c.want {
			t.Errorf("%s: %s, want %s", c.text, text, c.want)
		}
		if !regexp.MustCompile(Pattern(c.d, true)).MatchString(c.text) {
			t.Errorf("%s does not match the pattern for editors", c.text)
		}
	}
}

func TestRefuse(t *testing.T) {
	for _, c := range []struct {
		text string
		d    Dimension
		want string
	}{
		{"", Resistance, `"" is not a resistance; write a value such as 10 Ω`},
		{"10", Time, `10 has no unit, but a time is asked for; write 10 ms, if that was meant (units: ns us ms s min h)`},
		{"10 Mohms", Resistance, `"Mohms" is no unit of resistance; use one of uΩ mΩ Ω kΩ MΩ GΩ TΩ, or ohm for Ω`},
		{"10 MOHM", Resistance, `"MOHM" is no unit of resistance; use one of uΩ mΩ Ω kΩ MΩ GΩ TΩ, or ohm for Ω`}, // mega or milli?
		{"10 MS", Time, `the unit "MS" is not spelled so; write 10 ms`},
		{"10 mΩ", Time, `"10 mΩ" is a resistance, but a time is asked for; write a time, such as 200 ms`},
		{"1...2 Ω", Resistance, `".2 Ω" is not a resistance; write a value such as 10 Ω`},
		{"1..2..3 Ω", Resistance, `"2..3 Ω" has too many digits; write a value such as 10 Ω`},
		{"2 kΩ..1 Ω", Resistance, `the interval "2 kΩ..1 Ω" runs backwards; write the smaller end first`},
		{"-1..2 Ω", Resistance, `"-1" is negative; write a value of zero or more`},
		{"1 kg..2 m", Length, `"kg" is no unit of length; use one of um mm cm m km`},
		{"NaN Ω", Resistance, `"NaN Ω" is not a resistance; write a value such as 10 Ω`},
		{"0x10 Ω", Resistance, `"x10 Ω" is no unit of resistance; use one of uΩ mΩ Ω kΩ MΩ GΩ TΩ, or ohm for Ω`},
		{strings.Repeat("9", 31) + " Ω", Resistance, `"9999999999999999999999999999999 Ω" has too many digits; write a value such as 10 Ω`},
		{"20 K", Temperature, `"K" is no unit of temperature; use one of °C or degC`},
		{"0.5", Ratio, `0.5 has no unit, but a share is asked for; write 0.5 %, if that was meant (units: %)`},
	} {
		_, err := Parse(c.text, c.d)
		if err == nil || err.Error() != c.want {
			t.Errorf("%q: %v, want %s", c.text, err, c.want)
		}
	}
	if _, err := Single("1..2 Ω", Resistance); err == nil {
		t.Error("an interval was read as one value")
	}
}

// TestNames asks every dimension for what messages need.
func TestNames(t *testing.T) {
	for d := Dimension(0); d < Dimensions; d++ {
		if k := known[d]; k.name == "" || d.Example() == "" || len(d.Units()) == 0 || (k.base == "") != (d == Number) {
			t.Errorf("dimension %d: %q, %q, %v, %q", d, k.name, d.Example(), d.Units(), k.base)
		}
		if _, err := Single(d.Example(), d); err != nil {
			t.Errorf("the example %q cannot be read: %v", d.Example(), err)
		}
	}
}

// TestUnitsMeanOneThing lets no unit stand for two dimensions.
func TestUnitsMeanOneThing(t *testing.T) {
	of := map[string]Dimension{}
	for d := Dimension(1); d < Dimensions; d++ {
		for _, unit := range d.Units() {
			if other, taken := of[unit]; taken {
				t.Errorf("%s is %s and %s", unit, known[d].name, known[other].name)
			}
			of[unit] = d
		}
	}
}

// TestExact: what Ohms and Duration write is read as the same value, and every
// decimal is kept to its last digit.
func TestExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		micro := rapid.Int64Range(0, 1e18).Draw(t, "micro-ohms")
		value, err := Single(Ohms(micro), Resistance)
		if err != nil {
			t.Fatalf("%d: %v", micro, err)
		}
		if got, whole := Int(value, 1e6); !whole || got != micro {
			t.Fatalf("%d was written %s and read as %d", micro, Ohms(micro), got)
		}
		nanos := rapid.Int64Range(0, 1<<62).Draw(t, "ns")
		value, err = Single(Duration(time.Duration(nanos)), Time)
		if err != nil {
			t.Fatalf("%d: %v", nanos, err)
		}
		if got, whole := Int(value, 1e9); !whole || got != nanos {
			t.Fatalf("%d was written %s and read as %d", nanos, Duration(time.Duration(nanos)), got)
		}
	})
}

// TestPatternAgrees: the pattern for editors accepts what Parse accepts, but
// for the order of an interval's ends.
func TestPatternAgrees(t *testing.T) {
	accepted := 0
	rapid.Check(t, func(t *rapid.T) {
		d := Dimension(rapid.IntRange(0, Dimensions-1).Draw(t, "dimension"))
		part := func(name string) string {
			unit := rapid.SampledFrom(append(d.Units(), "", "x", "Ω", "ms")).Draw(t, name+" unit")
			return fmt.Sprintf("%s%s%s%s", rapid.SampledFrom([]string{"", "", "", "-", "+"}).Draw(t, name+" sign"),
				rapid.StringMatching(`[0-9]{1,3}(\.[0-9]{0,2})?(e[0-9]{1,3})?`).Draw(t, name), rapid.SampledFrom([]string{"", " "}).Draw(t, name+" blank"), unit)
		}
		text := strings.TrimSpace(part("one"))
		if rapid.Bool().Draw(t, "interval") {
			text = strings.TrimSpace(part("low")) + ".." + strings.TrimSpace(part("high"))
		}
		_, err := Parse(text, d)
		fits := regexp.MustCompile(Pattern(d, true)).MatchString(text)
		if err == nil {
			accepted++
		} else if strings.Contains(err.Text, "backwards") || strings.HasPrefix(text, "-0") || strings.Contains(text, "..-0") {
			return
		}
		if fits != (err == nil) && !strings.Contains(text, "-0") {
			t.Fatalf("%q as %s: pattern %v, read %v", text, known[d].name, fits, err)
		}
	})
	if accepted < 10 && !testing.Short() || accepted == 0 {
		t.Fatalf("only %d were accepted", accepted)
	}
}

func TestText(t *testing.T) {
	for micro, want := range map[int64]string{0: "0 Ω", 1: "1 uΩ", 50000: "50 mΩ", 9500000: "9.5 Ω", 10_000_001: "10.000001 Ω", 1e15: "1 GΩ", 100e12: "100 MΩ", -9_000_000: "-9 Ω"} {
		if got := Ohms(micro); got != want {
			t.Errorf("%d: %s, want %s", micro, got, want)
		}
	}
	for d, want := range map[time.Duration]string{0: "0 s", 1: "1 ns", 80 * time.Millisecond: "80 ms", 90 * time.Second: "90 s", 8 * time.Minute: "8 min", 2 * time.Hour: "2 h", 60 * time.Second: "60 s", -time.Second: "-1 s", 119952 * time.Millisecond: "119.952 s"} {
		if got := Duration(d); got != want {
			t.Errorf("%d: %s, want %s", d, got, want)
		}
	}
}
