package trace

import (
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ohmgate/monitor"
)

// A file appears under its name whole or not at all, whichever way it is packed,
// and the same content gives the same bytes.
func TestFilesAppearWhole(t *testing.T) {
	for _, name := range []string{"run.csv", "run.csv.gz", "run.csv.zst"} {
		path := filepath.Join(t.TempDir(), name)
		var written [2][]byte
		for i := range written {
			f, err := Create(path)
			require.NoError(t, err)
			_, err = io.WriteString(f, strings.Repeat("0.4 Ω\n", 100000))
			require.NoError(t, err)
			if i == 0 {
				_, err = os.Stat(path)
				require.ErrorIs(t, err, os.ErrNotExist)
			}
			require.NoError(t, f.Commit())
			written[i], err = os.ReadFile(path)
			require.NoError(t, err)
		}
		require.Equal(t, written[0], written[1], name)
		taken := 0
		s, err := Open(path, func(n int) { taken += n })
		require.NoError(t, err)
		text, err := io.ReadAll(s)
		require.NoError(t, err)
		require.Equal(t, strings.Repeat("0.4 Ω\n", 100000), string(text))
		require.EqualValues(t, s.Size, taken, "progress does not end at the size of the file")
		require.NoError(t, s.Close())
		f, err := Create(path)
		require.NoError(t, err)
		f.Discard()
		entries, err := os.ReadDir(filepath.Dir(path))
		require.NoError(t, err)
		require.Len(t, entries, 1)
	}
}

// A device or a pipe is never replaced by a plain file, and a link stays a link.
func TestWhatIsNoPlainFileStaysWhatItIs(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	require.NoError(t, syscall.Mkfifo(pipe, 0o600))
	read := make(chan string)
	go func() {
		text, _ := os.ReadFile(pipe)
		read <- string(text)
	}()
	f, err := Create(pipe)
	require.NoError(t, err)
	_, err = io.WriteString(f, "0.4 Ω")
	require.NoError(t, err)
	require.NoError(t, f.Commit())
	require.Equal(t, "0.4 Ω", <-read)
	info, err := os.Lstat(pipe)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeNamedPipe)

	target, link := filepath.Join(dir, "target.csv"), filepath.Join(dir, "link.csv")
	require.NoError(t, os.WriteFile(target, []byte("old"), 0o600))
	require.NoError(t, os.Symlink(target, link))
	f, err = Create(link)
	require.NoError(t, err)
	_, err = io.WriteString(f, "new")
	require.NoError(t, err)
	require.NoError(t, f.Commit())
	info, err = os.Lstat(link)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeSymlink)
	text, err := os.ReadFile(target)
	require.NoError(t, err)
	require.Equal(t, "new", string(text))
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 3)
}

func TestFilesThatCannotBe(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{dir, dir + "/", filepath.Join(dir, "none", "x.csv")} {
		_, err := Create(path)
		require.ErrorIs(t, err, ErrCannotCreate)
		require.ErrorContains(t, err, "name a file")
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "no.gz"), []byte("plain"), 0o644))
	for path, says := range map[string]string{"none.csv": "name a file that exists", ".": "is a directory", "no.gz": "no gzip file"} {
		_, err := Open(filepath.Join(dir, path), nil)
		require.ErrorContains(t, err, says)
	}
}

func TestFixedNumbers(t *testing.T) {
	for want, v := range map[string]int64{"0": 0, "0.4": 400000, "-0.000001": -1, "12": 12000000, "1000000.5": 1000000500000, "-9223372036854.775808": -1 << 63} {
		require.Equal(t, want, string(AppendOhms(nil, monitor.Microohm(v))))
	}
	rapid.Check(t, func(t *rapid.T) {
		v, decimals := rapid.Int64().Draw(t, "value"), rapid.IntRange(0, 9).Draw(t, "decimals")
		text := string(AppendFixed(nil, v, decimals))
		whole, fraction, _ := strings.Cut(text, ".")
		fraction += strings.Repeat("0", decimals-len(fraction))
		back, err := strconv.ParseInt(whole+fraction, 10, 64)
		if err != nil || back != v {
			t.Fatalf("%d with %d decimals is written %s", v, decimals, text)
		}
	})
}

func TestDiaryKeepsTheFirst(t *testing.T) {
	var d Diary
	one, two := Kind{Text: "one"}, Kind{Text: "two", Undecided: true}
	for i := range 100 {
		d.Note(&one, Place{Line: i + 1})
	}
	require.False(t, d.Undecided())
	d.NoteMany(&two, 7, Place{Line: 3, Column: 2, Text: strings.Repeat("x", 100)})
	require.True(t, d.Undecided())
	require.False(t, d.Blind())
	require.Equal(t, 100, d.Count(&one))
	require.Equal(t, 7, d.Count(&two))
	require.Len(t, d.Troubles[0].First, placesKept)
	require.Less(t, len(d.Troubles[1].First[0].Text), 50)
	require.Equal(t, `line 3 field 2 "x`, d.Troubles[1].First[0].String()[:17])
}
