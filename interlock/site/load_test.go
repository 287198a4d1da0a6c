package site

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestReadFiles reads what is no site file at all.
func TestReadFiles(t *testing.T) {
	directory := t.TempDir()
	huge := filepath.Join(directory, "huge.yaml")
	if err := os.WriteFile(huge, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(huge, 100<<20); err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{
		filepath.Join(directory, "absent.yaml"): "cannot be opened: no such file or directory",
		directory:                               "cannot be read: is a directory",
		huge:                                    "longer than 1048576 bytes",
		"/dev/zero":                             "longer than 1048576 bytes", // it never ends
	} {
		begun := time.Now()
		s, problems := Read(file)
		if s != nil || len(problems) != 1 || problems[0].Text != want || problems[0].File != file {
			t.Errorf("%s: %v, want %s", file, problems, want)
		}
		if took := time.Since(begun); took > time.Second {
			t.Errorf("%s: took %v", file, took)
		}
	}
	fine := filepath.Join(directory, "fine.yaml")
	if err := os.WriteFile(fine, []byte(good), 0o644); err != nil {
		t.Fatal(err)
	}
	if s, problems := Read(fine); problems.Err() != nil || s.File != fine {
		t.Errorf("%v", problems)
	}
}

// TestSameSiteInOtherBytes reads the good site as other editors save it.
func TestSameSiteInOtherBytes(t *testing.T) {
	want, _ := Parse("site.yaml", []byte(good))
	for name, text := range map[string]string{
		"Windows line ends": strings.ReplaceAll(good, "\n", "\r\n"),
		"byte order mark":   "\xef\xbb\xbf" + good,
		"document header":   "---\n" + good,
		"document end":      good + "...\n",
		"other letters":     strings.NewReplacer("Ω", "Ω", "uA", "µA", "yes", "true").Replace(good),
		"other micro":       strings.NewReplacer("Ω", "ohm", "uA", "μA").Replace(good),
	} {
		got, problems := Parse("site.yaml", []byte(text))
		if problems != nil {
			t.Errorf("%s: %v", name, problems)
			continue
		}
		got.Hash, got.positions, got.values = want.Hash, want.positions, want.values
		if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
			t.Errorf("%s: read as another site", name)
		}
	}
	_, problems := Parse("site.yaml", []byte(strings.ReplaceAll(strings.Replace(good, "9 Ω", "9", 1), "\n", "  # é\r\n")))
	if len(problems) != 1 || problems[0].Line != 11 || problems[0].Column != 13 {
		t.Errorf("place with comments and Windows line ends: %v", problems)
	}
}

// bombs are texts that try to make a reader expand, recurse, loop or give up.
func bombs() map[string]string {
	const n = MaxBytes / 16 // the whole size was tried: at most 0.7 s each
	made := map[string]string{
		"empty": "", "comment": "# only\n", "scalar": "site", "list": "- site\n- scan\n", "null": "~", "binary": "\x00\x01\x02",
		"UTF-16": "s\x00i\x00t\x00e\x00", "tab": "\tsite: x\n", "no end": "site: \"x\n", "control": "site: \x1b[31m\n",
		"billion": "a: &a [x,x]\nb: &b [*a,*a]\nc: [*b,*b]\n",
		"deep":    strings.Repeat("{a: ", n/5) + "x" + strings.Repeat("}", n/5),
	}
	for _, piece := range []string{
		"[", "{", "- ", "? ", "a: ", "'", "\"", "x", "\n", " ", "#\n", "a: 1\n", "&a ", "*a ", "!", "---\n", "--- ", "|\n", ">\n", "%", "`", "@", ":", ": ", ",", "]", "}", "a:\n", "- a\n", "<<: a\n", "\\", "é", "a: [", "- - ", "a:\n - ", "<<", "? a\n", "0", "channels: {a: {}}\n", "x: {y: 1}\n",
	} {
		made["many "+piece] = strings.Repeat(piece, n/len(piece))
		lines := strings.Repeat(piece, 1+min(1000, maxLine-3)/len(piece)) + "\n"
		made["lines of many "+piece] = strings.Repeat(lines, n/len(lines))
		made["more lines of many "+piece] = "a: " + strings.Repeat(lines+"  ", n/(len(lines)+2))
		made["short lines of "+piece] = strings.Repeat(piece+"\n", n/(len(piece)+1))
		made["keys of many "+piece] = "channels:\n  a: " + strings.Repeat(piece, n/2/len(piece)) + "\n"
	}
	// What took the library minutes before its limits, in full.
	made["all <<"], made["all keys"] = strings.Repeat("<<", MaxBytes/2), strings.Repeat("a:\n", MaxBytes/3)
	made["all short merge keys"] = strings.Repeat("<<\n", MaxBytes/3)
	var steps, names, refs strings.Builder
	for i := range 1000 {
		steps.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	for i := range 8000 {
		fmt.Fprintf(&names, " n%d: {unknwon: 1}\n", i)
		fmt.Fprintf(&refs, "nnn%d,", i)
	}
	made["steps"] = steps.String()
	made["many inputs"] = "inputs:\n" + names.String()
	made["many vessels"] = "vessels:\n" + names.String()
	made["many dangling"] = "vessels:\n" + names.String()[:100000] + "\nstreams: {s: {through: [" + refs.String() + "]}}\n"
	made["long permissive"] = "outputs: {a: {permissive: '" + strings.Repeat("a AND ", n/8) + "a'}}\n"
	made["deep permissive"] = "outputs: {a: {permissive: '" + strings.Repeat("(", n/2) + "'}}\n"
	made["NOT"] = "outputs: {a: {permissive: '" + strings.Repeat("NOT ", n/8) + "'}}\n"
	return made
}

// TestBombs wants an answer in short time, with problems, whatever the file.
func TestBombs(t *testing.T) {
	for name, text := range bombs() {
		begun := time.Now()
		s, problems := Parse("bomb.yaml", []byte(text))
		if s != nil || len(problems) == 0 || len(problems) > mostProblems+1 {
			t.Errorf("%s: site %v, %d problems", name, s != nil, len(problems))
		}
		if size := len(problems.Error()); size > 200_000 {
			t.Errorf("%s: %d bytes of message", name, size)
		}
		if strings.ContainsAny(problems.Error(), "\x00\x1b\r") {
			t.Errorf("%s: control characters in the message", name)
		}
		if took := time.Since(begun); took > 10*time.Second {
			t.Errorf("%s: took %v", name, took)
		}
		for _, p := range problems {
			if strings.Contains(p.Text, "gave up") {
				t.Errorf("%s: %v", name, p)
			}
		}
	}
}

// TestGuards are the limits that keep the YAML library from its slow ways.
func TestGuards(t *testing.T) {
	for want, text := range map[string]string{
		"bomb.yaml:2:2001: a line of more than 2000 characters; break it; a long text or permissive may go on in the next line": "a: 1\nb: " + strings.Repeat("é", 2000),
		"bomb.yaml:101:2: more than 100 keys without a value; write the values, or delete the keys":                             strings.Repeat("a:\n", 101),
		"bomb.yaml:1:403: more than 100 keys without a value; write the values, or delete the keys":                             "{" + strings.Repeat("a: ,", 101) + "}",
		"bomb.yaml:1:1: more than 100000 words and signs; split the plant into several sites":                                   strings.Repeat("a: 1\n", 33334),
		"bomb.yaml:1:33: nested more than 16 deep; a site needs no more than five levels":                                       strings.Repeat("- ", 17) + "x",
	} {
		_, problems := Parse("bomb.yaml", []byte(text))
		if len(problems) == 0 || strings.ReplaceAll(problems[len(problems)-1].Error(), "\n    ", " ") != want {
			t.Errorf("%v\nwant %s", problems, want)
		}
	}
}

// FuzzParse feeds anything: no panic, every problem has a place, and a site
// that is read has a logic.
func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	for _, list := range refusals {
		for _, b := range list {
			f.Add([]byte(strings.ReplaceAll(strings.Replace(good, b.old, b.new, 1), mark, "")))
		}
	}
	for _, text := range bombs() {
		f.Add([]byte(text[:min(len(text), 200)]))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		begun := time.Now()
		s, problems := Parse("fuzz.yaml", data)
		if took := time.Since(begun); took > 3*time.Second {
			t.Fatalf("took %v", took)
		}
		if (s == nil) != (len(problems) > 0) {
			t.Fatalf("site %v, problems %v", s != nil, problems)
		}
		lines := strings.Count(string(data), "\n") + 1
		for _, p := range problems {
			if p.Line < 1 || p.Line > lines || p.Column < 1 || p.Text == "" || p.Instead == "" {
				t.Fatalf("problem without a place: %#v", p)
			}
			if strings.Contains(p.Text, "gave up") {
				t.Fatalf("the YAML library panicked: %v", p)
			}
			if strings.Contains(p.Text, "logic refuses") {
				t.Fatalf("refused without a place: %v", p)
			}
		}
		if s != nil {
			if config, last := s.Logic(); last != nil || config == nil {
				t.Fatalf("no logic: %v", last)
			}
		}
	})
}
