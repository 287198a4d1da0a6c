package replay

import (
	"bufio"
	stdcsv "encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/metrics"
	"ohmgate/sim/trace/plot"
	"ohmgate/sim/trace/tracetest"
	"ohmgate/sim/trace/trend"
)

// heaviest looks at the heap now and then while a run is written through it.
type heaviest struct{ most uint64 }

func (h *heaviest) Begin(*trace.Header) error { return nil }
func (h *heaviest) Close() error              { return nil }
func (h *heaviest) Write(r *trace.Row) error {
	if r.Scan%4096 == 0 {
		var now runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&now)
		h.most = max(h.most, now.HeapAlloc)
	}
	return nil
}

// streamed replays a recording of that length which is never whole anywhere, with
// everything recorded along that can grow.
func streamed(t *testing.T, scans int) uint64 {
	t.Helper()
	c, h := tracetest.Config(8), tracetest.Header(8)
	out, in := io.Pipe()
	go func() {
		buffered := bufio.NewWriterSize(in, 1<<16)
		w := csv.NewStream(buffered)
		err := w.Begin(h)
		if err == nil {
			err = tracetest.Day(8, scans, w)
		}
		in.CloseWithError(errors.Join(err, w.Close(), buffered.Flush()))
	}()
	reader, err := csv.NewReader(out, h, c)
	require.NoError(t, err)
	drawing, err := plot.NewWriter(filepath.Join(t.TempDir(), "run.svg"), c)
	require.NoError(t, err)
	weight := &heaviest{}
	group := trace.Group{weight, drawing, trend.NewCollector(c), metrics.NewFile(filepath.Join(t.TempDir(), "run.om"), c)}
	require.NoError(t, group.Begin(h))
	report, err := New(c, h, Options{Watch: group}).Run(reader, &reader.Diary)
	require.NoError(t, err)
	require.NoError(t, group.Close())
	require.Equal(t, verdict.Shown, report.Verdict, report.Because)
	require.EqualValues(t, scans, report.Scans)
	return weight.most
}

// Peak memory must not grow with the length of the recording: not the reader's,
// not the logic's, not that of plot, trend and metrics.
func TestMemoryDoesNotGrow(t *testing.T) {
	if testing.Short() {
		t.Skip("it looks at the heap of a long run, which the race detector makes longer and the heap another")
	}
	short, long := streamed(t, 40000), streamed(t, 240000)
	t.Logf("peak heap %.1f MB for 40000 scans, %.1f MB for 240000", float64(short)/1e6, float64(long)/1e6)
	require.Less(t, long, short+short/4+1<<20)
}

// BenchmarkDayFile is the whole thing: 24 h of 8 channels at 10 ms in one plain
// file of gigabytes, replayed from the disk, against encoding/csv merely
// splitting it. It runs only where OHMGATE_DAY names a directory with room.
func BenchmarkDayFile(b *testing.B) {
	dir := os.Getenv("OHMGATE_DAY")
	if dir == "" {
		b.Skip("OHMGATE_DAY names no directory with 5 GB of room")
	}
	path := filepath.Join(dir, "day.csv")
	const scans = 24 * 3600 * 100
	c, h := tracetest.Config(8), tracetest.Header(8)
	h.Simulated = false // a plant's recording holds no truth
	w := csv.NewWriter(path)
	if err := errors.Join(w.Begin(h), tracetest.Day(8, scans, w), w.Close()); err != nil {
		b.Fatal(err)
	}
	defer os.Remove(path)
	for b.Loop() {
		source, err := trace.Open(path, nil)
		if err != nil {
			b.Fatal(err)
		}
		begin := time.Now()
		reader, err := csv.NewReader(source, h, c)
		if err != nil {
			b.Fatal(err)
		}
		report, err := New(c, h, Options{}).Run(reader, &reader.Diary)
		if err != nil || report.Verdict != verdict.Shown || report.Scans != scans {
			b.Fatal(err, report)
		}
		replayed := time.Since(begin)
		source.Close()
		split := splitFile(b, path)
		b.ReportMetric(replayed.Seconds()/split.Seconds(), "of-csv-split")
		b.ReportMetric(float64(source.Size)/1e6/replayed.Seconds(), "replay-MB/s")
		b.ReportMetric(float64(source.Size)/1e6/split.Seconds(), "split-MB/s")
		b.ReportMetric(8*scans/replayed.Seconds(), "channel-samples/s")
		b.ReportMetric(float64(source.Size)/1e9, "GB")
	}
}

func splitFile(b *testing.B, path string) time.Duration {
	file, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close()
	begin := time.Now()
	r := stdcsv.NewReader(file)
	r.Comment, r.ReuseRecord, r.FieldsPerRecord = '#', true, -1
	for {
		if _, err := r.Read(); errors.Is(err, io.EOF) {
			return time.Since(begin)
		} else if err != nil {
			b.Fatal(err)
		}
	}
}
