package charge

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// Solution is a network solved: C dV/dt = I - G V in its own modes, each of which
// is a single leaky conductor with a closed form. Any time can be asked for
// directly; there are no time steps.
//
// Accuracy: nodes that touch no other are exact closed forms. Where nodes are
// joined, forming the equations loses about 1e-16 times the ratio of the fastest
// rate to the slowest; 2 Ω beside 1e12 Ω costs some 1e-3 of the slow rate.
type Solution struct {
	network *Network
	rates   []float64  // 1/s, of each mode, 0 or more
	shape   *mat.Dense // V = shape z
	project *mat.Dense // z = project V
	driven  []float64  // dz/dt = driven - rate z
	coupled bool
}

// State is a moment of a network.
type State struct {
	Voltage []float64 // V against earth, by node
	Charge  []float64 // C on each node, on all its capacitances
	// ThroughEarth is the charge in C that has flowed from the nodes to earth
	// through resistances since the start.
	ThroughEarth float64
}

// Solve prepares a network. Later changes to it do not reach the solution's
// modes; solve again.
func (n *Network) Solve() (*Solution, error) {
	if n.Len() == 0 {
		return nil, fmt.Errorf("network: no node: add at least one conductor")
	}
	s := &Solution{network: n, coupled: len(n.resistors)+len(n.capacitors) > 0}
	if !s.coupled {
		s.solveAlone()
		return s, nil
	}
	var factor mat.Cholesky
	if ok := factor.Factorize(n.capacitanceMatrix()); !ok {
		return nil, fmt.Errorf("network: the capacitances do not make a physical arrangement")
	}
	s.solveTogether(&factor)
	return s, nil
}

// solveAlone: every node is its own mode.
func (s *Solution) solveAlone() {
	size := s.network.Len()
	s.rates, s.driven = make([]float64, size), make([]float64, size)
	s.shape, s.project = identity(size), identity(size)
	for i, c := range s.network.capacity {
		s.rates[i] = s.network.conduct[i] / c
		s.driven[i] = s.network.source[i] / c
	}
}

func identity(size int) *mat.Dense {
	m := mat.NewDense(size, size, nil)
	for i := range size {
		m.Set(i, i, 1)
	}
	return m
}

// solveTogether: with C = L Lᵀ, the symmetric matrix L⁻¹ G L⁻ᵀ = U Λ Uᵀ gives the
// modes; V = L⁻ᵀ U z and z = Uᵀ Lᵀ V.
func (s *Solution) solveTogether(factor *mat.Cholesky) {
	size := s.network.Len()
	var lower mat.TriDense
	factor.LTo(&lower)
	var half, full mat.Dense
	mustSolve(&half, &lower, s.network.conductanceMatrix())
	mustSolve(&full, &lower, half.T())
	symmetric := mat.NewSymDense(size, nil)
	for i := range size {
		for j := i; j < size; j++ {
			symmetric.SetSym(i, j, (full.At(i, j)+full.At(j, i))/2)
		}
	}
	rates, vectors := jacobi(symmetric)
	s.rates = rates
	s.holdFloating()

	s.shape, s.project = new(mat.Dense), new(mat.Dense)
	mustSolve(s.shape, lower.T(), vectors)
	s.project.Mul(vectors.T(), lower.T())
	var scaled, driven mat.VecDense
	mustSolveVec(&scaled, &lower, mat.NewVecDense(size, append([]float64(nil), s.network.source...)))
	driven.MulVec(vectors.T(), &scaled)
	s.driven = append([]float64(nil), driven.RawVector().Data...)
}

// mustSolve solves with a Cholesky factor. gonum reports a poor condition as an
// error although it has solved; capacitances spread over many decades are
// triangular and harmless, so only a singular factor, which Factorize has
// excluded, would matter.
func mustSolve(dst *mat.Dense, a mat.Matrix, b mat.Matrix) {
	if err := dst.Solve(a, b); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			panic(err)
		}
	}
}

func mustSolveVec(dst *mat.VecDense, a mat.Matrix, b mat.Vector) {
	if err := dst.SolveVec(a, b); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			panic(err)
		}
	}
}

// holdFloating sets the rates that are 0 by structure to exactly 0, and any
// other that rounding has made negative.
func (s *Solution) holdFloating() {
	order := make([]int, len(s.rates))
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(a, b int) bool { return s.rates[order[a]] < s.rates[order[b]] })
	for _, i := range order[:s.network.floating()] {
		s.rates[i] = 0
	}
	for i, r := range s.rates {
		s.rates[i] = math.Max(0, r)
	}
}

// jacobi finds eigenvalues and vectors of a symmetric matrix by plane rotations.
// Unlike the usual tridiagonal methods it keeps small eigenvalues accurate beside
// large ones when the matrix is graded (a 2 Ω bond beside a 1e12 Ω leak).
func jacobi(m *mat.SymDense) ([]float64, *mat.Dense) {
	size := m.SymmetricDim()
	vectors := identity(size)
	for range 60 {
		if rotateAll(m, vectors) == 0 {
			break
		}
	}
	values := make([]float64, size)
	for i := range values {
		values[i] = m.At(i, i)
	}
	return values, vectors
}

// rotateAll sweeps once over all pairs and counts the rotations that were needed.
func rotateAll(m *mat.SymDense, vectors *mat.Dense) int {
	size, done := m.SymmetricDim(), 0
	for p := 0; p < size; p++ {
		for q := p + 1; q < size; q++ {
			off := m.At(p, q)
			if off == 0 || math.Abs(off) <= 1e-17*math.Sqrt(math.Abs(m.At(p, p)))*math.Sqrt(math.Abs(m.At(q, q))) {
				continue
			}
			rotate(m, vectors, p, q)
			done++
		}
	}
	return done
}

// rotate makes the element (p,q) zero.
func rotate(m *mat.SymDense, vectors *mat.Dense, p, q int) {
	theta := (m.At(q, q) - m.At(p, p)) / (2 * m.At(p, q))
	t := 1 / (math.Abs(theta) + math.Hypot(theta, 1))
	if theta < 0 {
		t = -t
	}
	c := 1 / math.Hypot(t, 1)
	sine, off := t*c, m.At(p, q)
	for i := range m.SymmetricDim() {
		if i != p && i != q {
			a, b := m.At(i, p), m.At(i, q)
			m.SetSym(i, p, c*a-sine*b)
			m.SetSym(i, q, sine*a+c*b)
		}
		a, b := vectors.At(i, p), vectors.At(i, q)
		vectors.Set(i, p, c*a-sine*b)
		vectors.Set(i, q, sine*a+c*b)
	}
	m.SetSym(p, p, m.At(p, p)-t*off)
	m.SetSym(q, q, m.At(q, q)+t*off)
	m.SetSym(p, q, 0)
}

// At is the state after t (s) from given voltages (V, by node; nil is all 0).
func (s *Solution) At(start []float64, t float64) (State, error) {
	size := s.network.Len()
	if start == nil {
		start = make([]float64, size)
	}
	if len(start) != size {
		return State{}, fmt.Errorf("network: %d start voltages for %d nodes", len(start), size)
	}
	if !(t >= 0) || math.IsInf(t, 1) {
		return State{}, fmt.Errorf("network: time %v s: write 0 or more", t)
	}
	now, summed := make([]float64, size), make([]float64, size)
	begin := apply(s.project, start)
	for i, k := range s.rates {
		now[i] = begin[i]*math.Exp(-k*t) + s.driven[i]*t*phi1(k*t)
		summed[i] = begin[i]*t*phi1(k*t) + s.driven[i]*t*t*phi2(k*t)
	}
	state := State{Voltage: apply(s.shape, now)}
	state.Charge = s.network.charges(state.Voltage)
	for i, voltSeconds := range apply(s.shape, summed) {
		state.ThroughEarth += s.network.conduct[i] * voltSeconds
	}
	return state, nil
}

func apply(m *mat.Dense, v []float64) []float64 {
	var result mat.VecDense
	result.MulVec(m, mat.NewVecDense(len(v), append([]float64(nil), v...)))
	return append([]float64(nil), result.RawVector().Data...)
}

// charges is C V, by node.
func (n *Network) charges(voltage []float64) []float64 {
	charge := make([]float64, n.Len())
	for i, c := range n.capacity {
		charge[i] = c * voltage[i]
	}
	for _, b := range n.capacitors {
		moved := b.value * (voltage[b.a] - voltage[b.b])
		charge[b.a] += moved
		charge[b.b] -= moved
	}
	return charge
}

// phi2 is (1-phi1(x))/x, 1/2 at 0.
func phi2(x float64) float64 {
	if x > 0.5 {
		return (1 - phi1(x)) / x
	}
	term, total := 0.5, 0.5
	for i := 3; i < 25; i++ {
		term *= -x / float64(i)
		total += term
	}
	return total
}

// Step is a stretch of time in which all streams run at a share of their full rate.
type Step struct {
	Duration float64 // s
	Share    float64 // 0..1
}

// Steps turns a run-down into stretches of constant current, count for the part
// in which the flow dies away. Each takes the current at its beginning, which is
// its greatest, for the longest run-down (upper end of every time).
func (r RunDown) Steps(count int) []Step {
	course := r.course(true)
	steps := []Step{{Duration: course.delay, Share: 1}}
	if course.shape == FullUntilConfirmed {
		return append(steps, Step{Duration: course.travel, Share: 1})
	}
	count = max(1, count)
	width := course.travel / float64(count)
	for i := range count {
		share := course.raise(course.velocity(float64(i) * width))
		steps = append(steps, Step{Duration: width, Share: share})
	}
	return steps
}

// Follow runs the steps one after the other and returns the state after each.
func (n *Network) Follow(start []float64, steps []Step) ([]State, error) {
	states := make([]State, 0, len(steps))
	passed := 0.0
	solution, err := n.Solve()
	if err != nil {
		return nil, err
	}
	full := append([]float64(nil), solution.driven...)
	for _, step := range steps {
		for i := range solution.driven {
			solution.driven[i] = full[i] * step.Share
		}
		state, err := solution.At(start, step.Duration)
		if err != nil {
			return nil, err
		}
		passed += state.ThroughEarth
		state.ThroughEarth = passed
		states = append(states, state)
		start = state.Voltage
	}
	return states, nil
}
