package joint

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
)

func TestZZ(t *testing.T) {
	s, p := site.Read("../../../testdata/sites/kestrel_siding.yaml")
	if p != nil {
		t.Fatal(p)
	}
	m, err := verify.FromSite(s)
	if err != nil {
		t.Fatal(err)
	}
	n, _ := strconv.Atoi(os.Getenv("N"))
	out := len(m.Config.Outputs) - 1
	_ = strings.Join
	for i, name := range m.Names.Outputs {
		if name == os.Getenv("OUT") {
			out = i
		}
	}
	if n > 0 { // first n terms
		var text []string
		for i := 1; i <= n; i++ {
			text = append(text, fmt.Sprintf("bond_%d", i))
		}
		pp, err := s.ParseProperty(strings.Join(text, " AND "))
		if err != nil {
			t.Fatal(err)
		}
		m.Config.Outputs[out].Permissive = pp
		if err := m.Config.Compile(); err != nil {
			t.Fatal(err)
		}
	}
	b := time.Now()
	j, err := verify.JointOf(m, verify.Options{}, out)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(m.Names.Outputs[out], len(j.Channels), "channels", len(j.Words), "rows", time.Since(b))
	e, err := New(j, 8<<30)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println("built", time.Since(b), e.varCount, e.b.Stats())
	err = e.Run(func(k int) {
		if k%10 == 0 {
			fmt.Println(k, time.Since(b), e.b.Stats())
		}
	})
	fmt.Println(err, e.Scans, time.Since(b))
	fmt.Println(e.States())
	for _, n := range Properties {
		v, err := e.Verdict(n)
		fmt.Println(n, v, err, time.Since(b))
	}
}
