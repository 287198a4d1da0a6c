package architecture

import (
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// A comment gives its reason itself, or points at a page that stands beside it: what
// only its writer had at hand helps nobody.

// page is a page by its file's name; elsewhere are the ways to point at one that is
// not here.
var (
	page      = regexp.MustCompile(`[A-Za-z0-9_./-]*[A-Za-z0-9_]\.md\b`)
	elsewhere = regexp.MustCompile(`\b[Pp]ractice,? [A-H][0-9]*\b|\breference/|` +
		`(?i:\b(?:design|reference|practice)(?:'s)? section\b|\bsection [0-9.]+ of (?:the |that )?(?:design|reference|practice|task|brief)\b|` +
		`\bwords of the design\b|\bwith the task\b)`)
)

// cites lists what one text points at that is not among the files of the project.
func cites(text string, files []string) (missing []string) {
	missing = elsewhere.FindAllString(text, -1)
	for _, name := range page.FindAllString(text, -1) {
		name = path.Clean(strings.TrimLeft(name, "./"))
		if !slices.ContainsFunc(files, func(file string) bool { return file == name || strings.HasSuffix(file, "/"+name) }) {
			missing = append(missing, name)
		}
	}
	return missing
}

// spoken are the kinds of files that hold sentences.
var spoken = []string{".go", ".md", ".txt", ".yaml", ".yml", ".py", ".c", ".ts", ".html", ".css", ".list", ""}

func TestNothingIsCitedThatIsNotHere(t *testing.T) {
	var files []string
	eachFile(t, func(file string) { files = append(files, file) })
	read := 0
	for _, file := range files {
		if !slices.Contains(spoken, path.Ext(file)) || file == "cmd/ohmgate/architecture/cited_test.go" {
			continue
		}
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(file)))
		if err != nil {
			t.Fatal(err)
		}
		read++
		for _, what := range cites(string(text), files) {
			t.Errorf("%s cites %q, which is not here: give the reason itself", file, what)
		}
	}
	if read < 300 {
		t.Fatalf("only %d files were read", read)
	}
}

func TestCitationsAreFound(t *testing.T) {
	files := []string{"README.md", "interlock/SEMANTICS.md", "testdata/scenarios/README.md"}
	for _, text := range []string{
		"see design.md", "(house.md 1.5)", "as ../pages/practice.md says", "interlock/README.md", "practice A10", "Practice A3: the valve",
		"(practice C): 1 µA", "reference/electrostatics.md section 5", "reference section 9", "design section 6", "section 1.6 of the reference",
		"the words of the design", "given with the task",
	} {
		if len(cites(text, files)) == 0 {
			t.Errorf("nothing is said of %q", text)
		}
	}
	for _, text := range []string{
		"SEMANTICS.md, section 6", "[here](interlock/SEMANTICS.md)", "scenarios/README.md", "./README.md", "common practice: 10 Ω",
		"section 64 of the book", "testdata/scenarios/practice/a02.yaml",
	} {
		if found := cites(text, files); found != nil {
			t.Errorf("of %q it says %q", text, found)
		}
	}
}
