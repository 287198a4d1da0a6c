package quantity

import (
	"strconv"
	"strings"
	"time"
)

// step is one unit of a scale, in its smallest unit.
type step struct {
	unit string
	size int64
}

var ohmSteps = []step{{"TΩ", 1e18}, {"GΩ", 1e15}, {"MΩ", 1e12}, {"kΩ", 1e9}, {"Ω", 1e6}, {"mΩ", 1e3}, {"uΩ", 1}}
var timeSteps = []step{{"h", 3600e9}, {"min", 60e9}, {"s", 1e9}, {"ms", 1e6}, {"us", 1e3}, {"ns", 1}}

// Ohms writes a resistance in micro-ohms exactly, as a site file would.
func Ohms(micro int64) string {
	if micro == 0 {
		return "0 Ω"
	}
	return write(micro, ohmSteps)
}

// Duration writes a time exactly, as a site file would.
func Duration(d time.Duration) string {
	if d == 0 {
		return "0 s"
	}
	if d < 0 {
		return "-" + Duration(-d)
	}
	for _, s := range timeSteps[:2] { // hours and minutes only when whole
		if int64(d)%s.size == 0 && int64(d) >= 2*s.size {
			return strconv.FormatInt(int64(d)/s.size, 10) + " " + s.unit
		}
	}
	return write(int64(d), timeSteps[2:])
}

// write uses the largest unit that the value reaches, with as many decimals as
// it takes.
func write(value int64, steps []step) string {
	sign := ""
	if value < 0 {
		sign, value = "-", -value
	}
	for _, s := range steps {
		if value < s.size {
			continue
		}
		whole := strconv.FormatInt(value/s.size, 10)
		if rest := value % s.size; rest != 0 {
			decimals := strconv.FormatInt(s.size+rest, 10)[1:]
			whole += "." + strings.TrimRight(decimals, "0")
		}
		return sign + whole + " " + s.unit
	}
	return sign + strconv.FormatInt(value, 10) + " " + steps[len(steps)-1].unit
}
