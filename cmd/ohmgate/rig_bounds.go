package main

import (
	"ohmgate/hwio/rig/judge"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// verifiedBounds asks the exhaustive search for the worst response of every judged output to the loss of each channel that is
// enough to stop it.
func verifiedBounds(s *site.Site, outputs []string) ([]judge.Verified, error) {
	if len(outputs) == 0 {
		return nil, nil
	}
	m, err := model.FromSite(s)
	if err != nil {
		return nil, failed(exitInput, "%w", err)
	}
	cuts, err := verify.Responses(m, model.Options{Outputs: outputs})
	if err != nil {
		return nil, failed(exitInternal, "%w", err)
	}
	var list []judge.Verified
	for i := range cuts {
		for _, r := range cuts[i].Response {
			if len(r.Set) != 1 || s.ChannelIndex(r.Set[0]) < 0 || r.Scans == model.Endless {
				continue
			}
			for class := monitor.Class(0); class < monitor.Classes; class++ {
				if class.String() == r.Class {
					list = append(list, judge.Verified{Output: cuts[i].Output, Channel: r.Set[0], Class: class, Scans: uint64(r.Scans), Exact: r.Bound == "exact"})
				}
			}
		}
	}
	return list, nil
}
