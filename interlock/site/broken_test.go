package site

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write what is told into the broken sites; read the difference before you keep it")

const brokenSites = "../../testdata/sites/broken"

// TestBrokenSites reads every broken site. What must be told stands at its end,
// in lines that begin with "#! ".
func TestBrokenSites(t *testing.T) {
	files, err := filepath.Glob(brokenSites + "/*.yaml")
	if err != nil || len(files) < 9 {
		t.Fatalf("only %d broken sites: %v", len(files), err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		s, problems := Parse(filepath.Base(file), data)
		if s != nil || len(problems) == 0 {
			t.Errorf("%s was read without a problem", file)
			continue
		}
		text, want, _ := strings.Cut(string(data), "#! ")
		told := "#! " + strings.ReplaceAll(problems.Error(), "\n", "\n#! ") + "\n"
		if *rewrite {
			if err := os.WriteFile(file, []byte(text+told), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if "#! "+want != told {
			t.Errorf("%s\n--- told\n%s--- want\n#! %s", file, told, want)
		}
		for _, line := range strings.Split(problems.Error(), "\n") {
			if len([]rune(line)) > 80 {
				t.Errorf("%s: longer than 80 columns: %s", file, line)
			}
		}
	}
}
