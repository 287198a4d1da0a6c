package charge

import "testing"

// The worst case for speed: a leak, the shape without a closed form, every input
// an interval. The margin verb evaluates some hundreds of these for one site.
func BenchmarkEvaluateWorstShape(b *testing.B) {
	loss := Loss{Current: span(1e-9, 1e-6), Leak: span(1e9, 1e12), Capacitance: span(1e-11, 1e-9), Ignition: Ignites(at(2e-4)),
		RunDown: RunDown{Delay: span(0.1, 0.5), Shape: Reciprocal, Travel: span(5, 60), TimeConstant: span(1, 5)}}
	for b.Loop() {
		if _, err := loss.Evaluate(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBreakEven(b *testing.B) {
	loss := Loss{Current: span(1e-9, 1e-6), Leak: NoLeak(), Capacitance: span(1e-11, 1e-9), Ignition: Ignites(at(2e-4)),
		RunDown: RunDown{Delay: span(0.1, 0.5), Shape: Linear, Travel: span(5, 60)}}
	for b.Loop() {
		if _, err := loss.BreakEvenOf(InputCurrent, span(1e-12, 1e-3)); err != nil {
			b.Fatal(err)
		}
	}
}
