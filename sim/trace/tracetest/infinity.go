package tracetest

import "math"

// inf is the resistance of a clamp that hangs free.
var inf = math.Inf(1)
