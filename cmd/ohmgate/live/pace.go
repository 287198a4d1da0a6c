package live

import (
	"math/bits"
	"time"
)

// pace says when each scan is due on the wall. All times are monotonic: they
// come from time.Now and are only ever subtracted.
type pace struct {
	start   time.Time
	base    uint64        // the scan that was due at start
	perScan time.Duration // 0: as fast as it goes
}

// anchor makes a scan due now.
func (p *pace) anchor(scan uint64, now time.Time, perScan time.Duration) {
	p.start, p.base, p.perScan = now, scan, perScan
}

func (p *pace) due(scan uint64) time.Time {
	return p.start.Add(time.Duration(scan-p.base) * p.perScan)
}

// lateness counts how late scans began, in steps of about an eighth of a
// doubling, so that extremes are kept without keeping every scan.
type lateness struct {
	counts [400]uint64
	all    uint64
	max    time.Duration
}

func (l *lateness) add(d time.Duration) {
	d = max(d, 0)
	l.max = max(l.max, d)
	l.counts[lateBucket(d)]++
	l.all++
}

func lateBucket(d time.Duration) int {
	n := uint64(d/time.Microsecond) + 8
	top := bits.Len64(n) - 1
	return min(top*8+int(n>>(top-3)&7), 399)
}

// bucketEnd is the longest time that falls in a bucket.
func bucketEnd(i int) time.Duration {
	top := i / 8
	return time.Duration((uint64(8+i%8+1)<<(top-3))-8) * time.Microsecond
}

// share is the time that this share of all scans did not exceed.
func (l *lateness) share(q float64) time.Duration {
	need := uint64(float64(l.all) * q)
	var sum uint64
	for i, n := range l.counts {
		sum += n
		if n > 0 && sum > need {
			return min(bucketEnd(i), l.max)
		}
	}
	return l.max
}
