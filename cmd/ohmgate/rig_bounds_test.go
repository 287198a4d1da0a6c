package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// The exhaustive search and the site's own timing are two ways to the same worst detection.
func TestVerifiedBoundsAgreeWithSiteTiming(t *testing.T) {
	for _, file := range []string{"rig/bench_siding", "rig/standin_siding", "sites/kestrel_siding", "sites/amber_line", "sites/hazel_works"} {
		s, problems := site.Read("../../testdata/" + file + ".yaml")
		require.Nil(t, problems)
		logic, problems := s.Logic()
		require.Nil(t, problems)
		var outputs []string
		for i := range s.Outputs {
			outputs = append(outputs, s.Outputs[i].Name)
		}
		list, err := verifiedBounds(s, outputs)
		require.NoError(t, err)
		require.NotEmpty(t, list, file)
		bounded := map[string]bool{}
		for _, v := range list {
			timing := s.Timing(logic, s.ChannelIndex(v.Channel)).Of(v.Class)
			require.Equal(t, uint64(timing.DetectionScans), v.Scans, "%s: %s after %s %s", file, v.Output, v.Channel, v.Class)
			require.True(t, v.Exact, "%s: a run attains %s after %s %s", file, v.Output, v.Channel, v.Class)
			output, channel := s.OutputIndex(v.Output), s.ChannelIndex(v.Channel)
			plain, verified := judge.NewBounds(&wiring.Map{Site: s}, logic, nil), judge.NewBounds(&wiring.Map{Site: s}, logic, list)
			require.Equal(t, plain.Loss(output, channel, v.Class).Span, verified.Loss(output, channel, v.Class).Span, "%s: %s after %s %s", file, v.Output, v.Channel, v.Class)
			bounded[v.Output] = true
		}
		t.Logf("%s: %d bounds of %d outputs agree", file, len(list), len(bounded))
	}
}

// A verified response is the bound that a trip is held against, in the same milliseconds as the site's timing where both know
// the same number of scans; and it says where it comes from.
func TestVerifiedResponseIsTheBound(t *testing.T) {
	files, err := readRig("../../testdata/rig/bench_siding.yaml", "")
	require.NoError(t, err)
	bounds := func(verified []judge.Verified) *judge.Bounds {
		return judge.NewBounds(files.wires, files.logic, verified)
	}
	list, err := verifiedBounds(files.site, files.wires.Judged())
	require.NoError(t, err)
	for _, class := range []monitor.Class{monitor.Open, monitor.High} {
		before := bounds(nil).Loss(0, 0, class)
		require.Contains(t, before.Source, "site timing")
		after := bounds(list).Loss(0, 0, class)
		require.Equal(t, before.Span, after.Span, class)
		require.Regexp(t, `^verify: [0-9]+ scans?, exact, for bond_1 `+class.String(), after.Source)
		slower := bounds([]judge.Verified{{Output: "valve_1", Channel: "bond_1", Class: class, Scans: uint64(before.Most/files.site.Period.Max) + 7}}).Loss(0, 0, class)
		require.Greater(t, slower.Most, before.Most)
		require.Contains(t, slower.Source, "upper bound")
		require.Equal(t, before.Least, slower.Least, "the guaranteed patience is not a matter of the worst case")
	}
}
