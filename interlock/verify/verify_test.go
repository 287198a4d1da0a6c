package verify

import (
	"testing"
)

func show(t *testing.T, r *Report) {
	for _, x := range r.Results {
		t.Logf("%-8s %-3s %-16s %s | %s (%d)", x.Output, x.Property, x.Verdict, x.Title, x.Says, x.States)
	}
	for _, l := range r.Lemmas {
		t.Logf("lemma %+v", l)
	}
	t.Logf("states %d steps %d audit %+v took %.2f", r.States, r.Steps, r.Audit, r.Took)
}

func TestVerifyBay(t *testing.T) { verifyBay(t, 2) }

func verifyBay(t *testing.T, n int) {
	m := bay(t, n, func(m *Model) {
		for i := range m.Config.Channels {
			integrating(&m.Config.Channels[i].Config)
		}
	})
	r, err := Verify(m, Options{Audit: true})
	if err != nil {
		t.Fatal(err)
	}
	show(t, r)
}
