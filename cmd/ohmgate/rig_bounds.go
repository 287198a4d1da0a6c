package main

import (
	"ohmgate/hwio/rig/judge"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
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
	bounds, err := verify.LossBounds(m, model.Options{Outputs: outputs})
	if err != nil {
		return nil, failed(exitInternal, "%w", err)
	}
	list := make([]judge.Verified, 0, len(bounds))
	for _, b := range bounds {
		list = append(list, judge.Verified{Output: s.Outputs[b.Output].Name, Channel: s.Channels[b.Channel].Name, Class: b.Class, Scans: uint64(b.Scans), Exact: b.Exact})
	}
	return list, nil
}
