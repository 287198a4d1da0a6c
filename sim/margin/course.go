package margin

import (
	"math"

	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// moment is the charge and spark energy at one time after the loss, both ends.
type moment struct {
	time   float64           // s
	charge interval.Interval // C
	energy interval.Interval // J, with the voltage capped
}

// course follows charge and energy from the loss to a little after the longest
// end of flow, for drawing only: the integral is summed over the points. The
// ends of the curve that matter come from the closed forms of Outcome.
func (a *Loss) course(points int) []moment {
	end := a.loss.RunDown.End().Hi
	last := end * 1.05
	spark := a.loss.Capacitance
	if a.loss.Lowest != (interval.Interval{}) {
		spark = a.loss.Lowest
	}
	most := charge.SparkEnergy(spark, charge.FlashoverVoltage.Value)
	list := make([]moment, 0, points)
	var held interval.Interval // s of full current
	before := interval.Point(1)
	for i := range points {
		t := last * float64(i) / float64(points-1)
		share := a.loss.RunDown.Factor(t)
		if i > 0 {
			step := last / float64(points-1)
			held = interval.Interval{Lo: held.Lo + step*(before.Lo+share.Lo)/2, Hi: held.Hi + step*(before.Hi+share.Hi)/2}
		}
		before = share
		q := interval.Interval{Lo: a.loss.Current.Lo * held.Lo, Hi: a.loss.Current.Hi * held.Hi}
		q.Lo = math.Min(q.Lo, q.Hi)
		list = append(list, moment{t, q, charge.EnergyOfCharge(q, spark).Min(most)})
	}
	return list
}
