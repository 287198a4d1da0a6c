package monitor

// Microampere is a current in millionths of an ampere.
type Microampere int64

// The bands of a 4-20 mA signal (NAMUR NE 43): a measurement is told from 3.8
// to 20.5 mA, a failure at or below 3.6 mA and at or above 21.0 mA. What lies
// between is neither; it is not believed here.
const (
	signalLow   Microampere = 4_000
	signalSpan  Microampere = 16_000 // 4 to 20 mA
	measuredMin Microampere = 3_800
	measuredMax Microampere = 20_500
	failureHigh Microampere = 21_000
)

// FromCurrent is what a 4-20 mA transmitter says with a current, where 4 mA
// stands for low and 20 mA for high. Between 20.5 and 21.0 mA the transmitter
// is saturated, which is over-range; below 3.8 mA and from 21.0 mA on it has
// failed. The value is rounded up: a connection is never better than measured.
// Just above 3.8 mA it can be negative, and a negative value is invalid.
func FromCurrent(current Microampere, low, high Microohm) (Microohm, Quality) {
	switch {
	case high <= low || low < 0 || current < measuredMin || current >= failureHigh:
		return 0, Bad
	case current > measuredMax:
		return 0, OverRange
	}
	// In two parts, so that no product passes 63 bits.
	span, above := high-low, Microohm(current-signalLow)
	whole, rest := span/Microohm(signalSpan), span%Microohm(signalSpan)
	value := low + whole*above
	part := rest * above
	value += part / Microohm(signalSpan)
	if part%Microohm(signalSpan) > 0 {
		value++
	}
	return value, Valid
}
