package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// What the joint search meets and no run of the whole site shows is not shown,
// and neither is what rests on it.
func TestWhatIsMetJointlyButNotRepeatedIsNotShown(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	j, err := newJointly(m, model.Options{Properties: []string{"1", "2", "3"}}, 1)
	require.NoError(t, err)
	require.NoError(t, j.search())
	require.Zero(t, j.found.Bad)
	j.found.Bad = 1 << 3
	results, _, err := j.judge()
	require.NoError(t, err)
	said := map[string]Verdict{}
	for _, r := range results {
		said[r.Property] = r.Verdict
	}
	require.Equal(t, NotShown, said["3"])
	require.Equal(t, NotShown, said["1"], "rests on property 3")
	require.Equal(t, Shown, said["2"])
}

// A channel that did not fit beside itself is not shown, and says how far it came.
func TestPairsThatDoNotFitAreNotShown(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	j, err := newJointly(m, model.Options{}, 1)
	require.NoError(t, err)
	r := j.judgeUnknown("", map[string]joint.SideBySide{"bond_1": {CutOff: &table.CutOff{Where: "tabulating a channel", Limit: 1 << 20}}})
	require.Equal(t, NotShown, r.Verdict)
	require.Contains(t, r.Says, "the memory limit of 1 MB is reached")
}

// Beyond its memory what has a search of its own is not shown, and says how far it
// came.
func TestMemoryOfWhatIsSearchedAsideIsBounded(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	j, err := newJointly(m, model.Options{}, 0)
	require.NoError(t, err)
	j.memory = 60_000
	unknown, err := j.unknown()
	require.NoError(t, err)
	require.Equal(t, NotShown, unknown.Verdict)
	require.Contains(t, unknown.Says, "memory limit of 0 MB")
	j.memory = 5_000_000
	wait, err := j.waits()
	require.NoError(t, err)
	require.Equal(t, NotShown, wait.Verdict)
	require.Contains(t, wait.Says, "memory limit of 4 MB")
}
