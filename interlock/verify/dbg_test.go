package verify

import (
	"os"
	"testing"

	"ohmgate/interlock/site"
)

func TestDebug(t *testing.T) {
	s, pr := site.Read("../../testdata/sites/" + os.Getenv("SITE") + ".yaml")
	if pr != nil {
		t.Fatal(pr)
	}
	m, err := FromSite(s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Verify(m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range r.Results {
		if x.Verdict != Shown {
			t.Log(x.Output, x.Property, x.Verdict, x.Says)
		}
	}
}
