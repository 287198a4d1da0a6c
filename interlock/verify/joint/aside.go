package joint

import (
	"errors"

	"ohmgate/interlock/verify"
)

// Progress is told of scans, of nodes in the table and of the memory they take.
type Progress func(scans, nodes int, bytes uint64)

// Waits searches the charge memory of one vessel after the other beside the
// channels, each in a search of its own. What did not end is told as such.
func Waits(j *verify.Joint, memory uint64, progress Progress) (waits []verify.JointWait, err error) {
	done := map[string]verify.JointWait{}
	for _, vessel := range j.Vessels() {
		w := verify.JointWait{Vessel: vessel}
		if same := j.SameAs(vessel); same != "" {
			w.Verdict, w.States, w.CutOff = done[same].Verdict, done[same].States, done[same].CutOff
			waits = append(waits, w)
			continue
		}
		with, err := j.WithVessel(vessel)
		if err == nil {
			w.Verdict, w.States, err = aside(with, memory, progress)
		}
		if err != nil && !errors.As(err, new(*verify.CutOff)) {
			return nil, err
		}
		w.CutOff = err
		done[vessel] = w
		waits = append(waits, w)
	}
	return waits, nil
}

// aside runs a search that judges one property.
func aside(j *verify.Joint, memory uint64, progress Progress) (verdict verify.Verdict, states string, err error) {
	e, err := New(j, memory)
	if err != nil {
		return verify.NotShown, "", err
	}
	if err := e.Run(progress); err != nil {
		return verify.NotShown, "", err
	}
	verdict, err = e.Verdict(j.Properties[0])
	return verdict, e.States().String(), err
}
