package interlock

import "testing"

// Under NOT, a doubtful channel is not fit to start, but it is fit to keep: the
// output must not be enabled for one scan in between.
func TestNotOverADoubtfulChannelEnablesNothing(t *testing.T) {
	b := newBench(t, 1, "reset")
	b.c.Outputs = []Output{{Permissive: b.permissive("NOT bond_1"), Automatic: true}}
	b.start().run(10).want(0, Tripped) // it ran while the bond was settling
	for i := 0; i < 30; i++ {
		b.read(0, readHigh).run(1).want(0, Tripped)
		b.read(0, readGood).run(1).want(0, Tripped)
	}
	b.read(0, readOpen).run(1).want(0, Enabled)
}
