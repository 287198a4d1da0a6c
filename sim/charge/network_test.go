package charge

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"ohmgate/sim/charge/interval"
)

// anyNetwork draws nodes, leaks, joints, walls and streams over many decades.
func anyNetwork(t *rapid.T) *Network {
	n := &Network{}
	size := rapid.IntRange(1, 6).Draw(t, "size")
	for i := range size {
		_, err := n.AddNode(fmt.Sprintf("part %d", i), decades(t, "C", 1e-11, 1e-8))
		require.NoError(t, err)
		if rapid.Bool().Draw(t, "leaks") {
			require.NoError(t, n.AddResistance(Node(i), Earth, decades(t, "R", 1e5, 1e12)))
		}
	}
	node := func(name string) Node { return Node(rapid.IntRange(-1, size-1).Draw(t, name)) }
	for range rapid.IntRange(0, 8).Draw(t, "branches") {
		a, b := node("a"), node("b")
		if a == b {
			continue
		}
		switch rapid.IntRange(0, 2).Draw(t, "kind") {
		case 0:
			require.NoError(t, n.AddResistance(a, b, decades(t, "R", 1e5, 1e12)))
		case 1:
			require.NoError(t, n.AddCapacitance(a, b, decades(t, "C", 1e-12, 1e-8)))
		default:
			require.NoError(t, n.AddStream(a, b, decades(t, "I", 1e-9, 1e-5)))
		}
	}
	return n
}

// Property: charge is conserved. What the streams bring is on the nodes or has
// gone through the resistances to earth; the streams sum to zero with earth.
func TestNetworkConservesCharge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := anyNetwork(t)
		total := n.EarthCurrent()
		brought := 0.0
		for _, i := range n.source {
			total += i
			brought += math.Abs(i)
		}
		assert.LessOrEqual(t, math.Abs(total), 1e-15*brought)

		s, err := n.Solve()
		require.NoError(t, err)
		start := make([]float64, n.Len())
		for i := range start {
			start[i] = rapid.Float64Range(-1e3, 1e3).Draw(t, "start")
		}
		time := decades(t, "time", 1e-3, 1e3)
		state, err := s.At(start, time)
		require.NoError(t, err)
		before, after, scale := 0.0, 0.0, brought*time
		for i, q := range n.charges(start) {
			before += q
			after += state.Charge[i]
			scale += math.Abs(q) + math.Abs(state.Charge[i])
		}
		balance := after - before + state.ThroughEarth + n.EarthCurrent()*time
		if math.Abs(balance) > 1e-7*scale {
			t.Fatalf("charge is off by %v of %v", balance, scale)
		}
	})
}

// Property: the modes obey the equations, checked by stepping them with an
// implicit trapezoid that knows nothing of modes.
func TestNetworkAgainstSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := anyNetwork(t)
		s, err := n.Solve()
		require.NoError(t, err)
		fastest := 0.0
		for _, k := range s.rates {
			fastest = math.Max(fastest, k)
		}
		end := 1.0
		if fastest > 0 {
			end = math.Min(1, 20/fastest)
		}
		want := trapezoid(t, n, end, 2000)
		got, err := s.At(nil, end)
		require.NoError(t, err)
		scale := 1e-6
		for _, v := range want {
			scale = math.Max(scale, math.Abs(v))
		}
		for i := range want {
			assert.InDelta(t, want[i], got.Voltage[i], 1e-4*scale, "node %d", i)
		}
	})
}

// trapezoid solves (C + hG/2) V' = (C - hG/2) V + h I step by step.
func trapezoid(t *rapid.T, n *Network, end float64, steps int) []float64 {
	size, h := n.Len(), end/float64(steps)
	c, g := n.capacitanceMatrix(), n.conductanceMatrix()
	var left, right, scaled mat.Dense
	scaled.Scale(h/2, g)
	left.Add(c, &scaled)
	right.Sub(c, &scaled)
	var factor mat.LU
	factor.Factorize(&left)
	v := mat.NewVecDense(size, nil)
	push := mat.NewVecDense(size, nil)
	push.ScaleVec(h, mat.NewVecDense(size, append([]float64(nil), n.source...)))
	for range steps {
		var rhs, next mat.VecDense
		rhs.MulVec(&right, v)
		rhs.AddVec(&rhs, push)
		if err := factor.SolveVecTo(&next, false, &rhs); err != nil {
			if _, poor := err.(mat.Condition); !poor {
				t.Fatal(err)
			}
		}
		v.CopyVec(&next)
	}
	return append([]float64(nil), v.RawVector().Data...)
}

// gonum's symmetric eigenvalues as a reference for the plane rotations.
func TestJacobiAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 7).Draw(t, "size")
		m := mat.NewSymDense(size, nil)
		for i := range size {
			for j := i; j < size; j++ {
				// Thousandths: the reference itself panics on elements near 1e-120.
				m.SetSym(i, j, float64(rapid.IntRange(-1000, 1000).Draw(t, "m"))/1000)
			}
		}
		var reference mat.EigenSym
		require.True(t, reference.Factorize(m, false))
		work := mat.NewSymDense(size, nil)
		work.CopySym(m)
		got, vectors := jacobi(work)
		// M v = λ v for each.
		for i, value := range got {
			var left, right mat.VecDense
			left.MulVec(m, vectors.ColView(i))
			right.ScaleVec(value, vectors.ColView(i))
			left.SubVec(&left, &right)
			assert.Less(t, mat.Norm(&left, 2), 1e-12*float64(size))
		}
		total, want := 0.0, 0.0
		for i, v := range reference.Values(nil) {
			total += got[i]
			want += v
		}
		assert.InDelta(t, want, total, 1e-11)
	})
}

// One node is the closed form of a single conductor, with and without a leak.
func TestSingleNodeIsTheConductor(t *testing.T) {
	for _, leak := range []float64{1e9, math.Inf(1)} {
		n := &Network{}
		part, err := n.AddNode("part", nF)
		require.NoError(t, err)
		require.NoError(t, n.AddResistance(part, Earth, leak))
		require.NoError(t, n.AddStream(Earth, part, uA))
		s, err := n.Solve()
		require.NoError(t, err)
		state, err := s.At([]float64{200}, 1)
		require.NoError(t, err)
		want := chargeAt(uA, leak, nF, 1)/nF + 200*decayed(leak, nF, 1)
		assert.InEpsilon(t, want, state.Voltage[0], 1e-12)
	}
}

// Emptying a container charges it oppositely: a stream between two
// isolated parts gives equal and opposite charge.
func TestSenderChargesOppositely(t *testing.T) {
	n := &Network{}
	sender, err := n.AddNode("sender", 300*pF)
	require.NoError(t, err)
	receiver, err := n.AddNode("receiver", 100*pF)
	require.NoError(t, err)
	require.NoError(t, n.AddStream(sender, receiver, uA))
	s, err := n.Solve()
	require.NoError(t, err)
	state, err := s.At(nil, 2)
	require.NoError(t, err)
	assert.InEpsilon(t, 2e-6, state.Charge[receiver], 1e-12)
	assert.InEpsilon(t, -2e-6, state.Charge[sender], 1e-12)
	assert.Equal(t, 0.0, n.EarthCurrent())
	assert.Equal(t, 0.0, state.ThroughEarth)
}

// An isolated liquid in a plastic container reaches a sparking voltage with a
// perfect bond on the cage: 46..730 s at 27..72 nA and a
// wall of 10..60 nF. Rough figures, recomputed here.
func TestLiquidBehindAPlasticWall(t *testing.T) {
	build := func(v []float64) (*Network, Node) {
		n := &Network{}
		cage, err := n.AddNode("cage", 300*pF)
		require.NoError(t, err)
		liquid, err := n.AddNode("liquid", 1*pF)
		require.NoError(t, err)
		require.NoError(t, n.AddCapacitance(liquid, cage, v[1]))
		require.NoError(t, n.AddResistance(cage, Earth, 2))
		require.NoError(t, n.AddStream(Earth, liquid, v[0]))
		return n, liquid
	}
	// Time to 330 V by search on the network, for the quickest and the slowest.
	timeTo330 := func(current, wall float64) float64 {
		n, liquid := build([]float64{current, wall})
		s, err := n.Solve()
		require.NoError(t, err)
		when, ok := interval.Crossing(func(x float64) float64 {
			state, err := s.At(nil, x)
			require.NoError(t, err)
			return state.Voltage[liquid]
		}, 330, interval.Between(1e-3, 1e5))
		require.True(t, ok)
		return when
	}
	assert.InEpsilon(t, 46, timeTo330(72e-9, 10*nF), 0.02)
	assert.InEpsilon(t, 730, timeTo330(27e-9, 60*nF), 0.02)

	envelope, err := EnvelopeOf([]interval.Interval{interval.Between(27e-9, 72e-9), interval.Between(10*nF, 60*nF)},
		func(v []float64) (float64, error) {
			n, liquid := build(v)
			s, err := n.Solve()
			if err != nil {
				return 0, err
			}
			state, err := s.At(nil, 300)
			if err != nil {
				return 0, err
			}
			return state.Voltage[liquid], nil
		})
	require.NoError(t, err)
	assert.InEpsilon(t, 72e-9*300/(10*nF), envelope.Range.Hi, 1e-3)
	assert.InEpsilon(t, 27e-9*300/(60*nF), envelope.Range.Lo, 1e-3)
}

// A 2 Ω joint between two parts that leak through 1e12 Ω: fast and slow rates
// differ by 13 decades, and the slow one must still be right to 1e-3.
func TestBondBesideTinyLeak(t *testing.T) {
	n := &Network{}
	a, err := n.AddNode("vessel", nF)
	require.NoError(t, err)
	b, err := n.AddNode("pump", 100*pF)
	require.NoError(t, err)
	require.NoError(t, n.AddResistance(a, b, 2))
	require.NoError(t, n.AddResistance(a, Earth, 1e12))
	require.NoError(t, n.AddStream(Earth, b, 1e-9))
	s, err := n.Solve()
	require.NoError(t, err)
	state, err := s.At(nil, 1100)
	require.NoError(t, err)
	want := 1e-9 * 1e12 * (1 - math.Exp(-1100/(1e12*1.1e-9)))
	assert.InEpsilon(t, want, state.Voltage[a], 1e-3)
	assert.InEpsilon(t, want, state.Voltage[b], 1e-3)
}

// Property: the envelope of a network holds every sample, for a result with a
// hump inside (the energy over capacitance).
func TestEnvelopeFindsTheHump(t *testing.T) {
	uncertain := []interval.Interval{interval.Between(10*pF, 100*nF), interval.Between(1e8, 1e9)}
	energy := func(v []float64) (float64, error) {
		n := &Network{}
		part, err := n.AddNode("part", v[0])
		if err != nil {
			return 0, err
		}
		if err := n.AddResistance(part, Earth, v[1]); err != nil {
			return 0, err
		}
		if err := n.AddStream(Earth, part, uA); err != nil {
			return 0, err
		}
		s, err := n.Solve()
		if err != nil {
			return 0, err
		}
		state, err := s.At(nil, 2)
		return state.Charge[part] * state.Voltage[part] / 2, err
	}
	envelope, err := EnvelopeOf(uncertain, energy)
	require.NoError(t, err)
	assert.InEpsilon(t, 2*1e-12*1e9/4.910814964568256, envelope.Range.Hi, 1e-9)
	rapid.Check(t, func(t *rapid.T) {
		v, err := energy([]float64{sample(t, "c", uncertain[0]), sample(t, "r", uncertain[1])})
		require.NoError(t, err)
		assert.True(t, envelope.Range.Widen(1e-9).Contains(v))
	})
}

// Following a run-down in steps gives the same as the closed form, from above,
// and closes in on it.
func TestFollowRunDown(t *testing.T) {
	n := &Network{}
	part, err := n.AddNode("part", nF)
	require.NoError(t, err)
	require.NoError(t, n.AddResistance(part, Earth, 5e9))
	require.NoError(t, n.AddStream(Earth, part, uA))
	run := RunDown{Delay: at(0.2), Shape: Linear, Law: CurrentAsSquare, Travel: at(6)}
	loss := Loss{Current: at(uA), Leak: at(5e9), Capacitance: at(nF), Ignition: Ignites(at(mJ)), RunDown: run}
	out, err := loss.Evaluate()
	require.NoError(t, err)
	previous := math.Inf(1)
	for _, count := range []int{10, 100, 1000} {
		states, err := n.Follow(nil, run.Steps(count))
		require.NoError(t, err)
		require.Len(t, states, count+1)
		got := states[len(states)-1].Charge[part]
		assert.GreaterOrEqual(t, got, out.AtStop.Lo)
		assert.Less(t, got, previous)
		previous = got
	}
	assert.InEpsilon(t, out.AtStop.Middle(), previous, 2e-3)
	states, err := n.Follow(nil, RunDown{Delay: at(1), Travel: at(2)}.Steps(5))
	require.NoError(t, err)
	assert.Len(t, states, 2, "full until confirmed needs no small steps")
}

func TestNetworkRefuses(t *testing.T) {
	n := &Network{}
	_, err := n.Solve()
	assert.ErrorContains(t, err, "no node")
	_, err = n.AddNode("x", 0)
	assert.Error(t, err)
	a, err := n.AddNode("vessel", nF)
	require.NoError(t, err)
	assert.ErrorContains(t, n.AddResistance(a, a, 1), "both ends are vessel")
	assert.ErrorContains(t, n.AddResistance(a, 7, 1), "does not exist")
	assert.ErrorContains(t, n.AddResistance(a, Earth, 0), "above 0")
	assert.ErrorContains(t, n.AddCapacitance(a, Earth, -1), "above 0")
	assert.ErrorContains(t, n.AddStream(a, Earth, math.NaN()), "number")
	s, err := n.Solve()
	require.NoError(t, err)
	_, err = s.At([]float64{1, 2}, 1)
	assert.ErrorContains(t, err, "2 start voltages")
	_, err = s.At(nil, -1)
	assert.Error(t, err)
	_, err = EnvelopeOf(make([]interval.Interval, 13), nil)
	assert.ErrorContains(t, err, "at most 12")
	_, err = EnvelopeOf([]interval.Interval{at(1)}, func([]float64) (float64, error) { return 0, fmt.Errorf("broken") })
	assert.ErrorContains(t, err, "broken")
	assert.Equal(t, "earth", n.Name(Earth))
}
