package vcd

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/sim/trace/tracetest"
)

func dump(t *testing.T, bays, scans int) string {
	var out bytes.Buffer
	w := &Writer{to: &out}
	require.NoError(t, w.Begin(tracetest.Header(bays)))
	require.NoError(t, tracetest.Run(bays, scans, w))
	require.NoError(t, w.Close())
	return out.String()
}

// changes reads a dump as the standard's grammar says and lists, for each
// signal by its full name, what it became when.
func changes(t *testing.T, text string) map[string][]string {
	t.Helper()
	names, list := map[string]string{}, map[string][]string{}
	var scope []string
	time := ""
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		word := words[i]
		switch {
		case word == "$scope":
			scope = append(scope, words[i+2])
			i += 3
		case word == "$upscope":
			scope = scope[:len(scope)-1]
			i++
		case word == "$var":
			names[words[i+3]] = strings.Join(scope, ".") + "." + words[i+4]
			for words[i] != "$end" {
				i++
			}
		case word == "$dumpvars" || word == "$end":
		case word[0] == '$':
			for words[i] != "$end" {
				i++
			}
		case word[0] == '#':
			time = word
		case word[0] == 'b' || word[0] == 'r':
			i++
			value := strings.TrimLeft(word[1:], "0")
			if word[0] == 'r' {
				value = word
			}
			list[names[words[i]]] = append(list[names[words[i]]], time+"="+value)
		default:
			list[names[word[1:]]] = append(list[names[word[1:]]], time+"="+word[:1])
		}
	}
	return list
}

// TestVcdThroughPeer sends a dump through GTKWave's own converters and back:
// every signal must come back with the same changes at the same times.
func TestVcdThroughPeer(t *testing.T) {
	for _, tool := range []string{"vcd2fst", "fst2vcd"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is not installed; apt-get install gtkwave", tool)
			}
			t.Skipf("%s is not installed; apt-get install gtkwave", tool)
		}
	}
	text := dump(t, 3, 9000)
	dir := t.TempDir()
	in, middle, out := filepath.Join(dir, "in.vcd"), filepath.Join(dir, "run.fst"), filepath.Join(dir, "out.vcd")
	require.NoError(t, os.WriteFile(in, []byte(text), 0o644))
	if said, err := exec.Command("vcd2fst", in, middle).CombinedOutput(); err != nil {
		t.Fatalf("vcd2fst: %v\n%s", err, said)
	}
	if said, err := exec.Command("fst2vcd", "-f", middle, "-o", out).CombinedOutput(); err != nil {
		t.Fatalf("fst2vcd: %v\n%s", err, said)
	}
	back, err := os.ReadFile(out)
	require.NoError(t, err)
	ours, theirs := changes(t, text), changes(t, string(back))
	require.Greater(t, len(ours), 40)
	var names []string
	total := 0
	for name := range ours {
		names = append(names, name)
		total += len(ours[name])
	}
	require.Greater(t, total, 20000, "the dump holds hardly any change")
	sort.Strings(names)
	for _, name := range names {
		require.Equal(t, ours[name], theirs[name], name)
	}
	require.Len(t, theirs, len(ours))
}

// The sample of the standard's reference page (pyvcd's README, seen there):
// binary vectors without leading zeros, reals with the letter r.
func TestVcdTokens(t *testing.T) {
	w := &Writer{wires: []wire{{id: "!", bits: 8}, {id: "\"", bits: 0}}}
	w.put(10)
	w.real(1.23)
	require.Equal(t, "b1010 !\nr1.23 \"\n", string(w.out))
	w.out, w.at = nil, 0
	w.put(10)
	w.real(3.21)
	require.Equal(t, "r3.21 \"\n", string(w.out), "what did not change is not written")
}

func TestShortNamesAreAllDifferent(t *testing.T) {
	w, seen := &Writer{}, map[string]bool{}
	for range 20000 {
		w.declare("wire", 1, "x")
		id := w.wires[len(w.wires)-1].id
		require.False(t, seen[id], id)
		for _, c := range id {
			require.True(t, c >= '!' && c <= '~')
		}
		seen[id] = true
	}
}
