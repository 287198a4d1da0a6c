package replay

import (
	"bytes"
	stdcsv "encoding/csv"
	"errors"
	"io"
	"testing"
	"time"

	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/tracetest"
)

// benchScans is 20 minutes of a bay works at 10 ms, in which each bay loads one
// car; a day is 72 times as much of the same, and the cost is per scan.
const benchScans = 120000

// BenchmarkReplay measures a whole replay of our own table, logic and
// comparison included, against encoding/csv merely splitting the same bytes.
func BenchmarkReplay(b *testing.B) {
	b.Run("day", func(b *testing.B) { benchmarkReplay(b, recordStory(b, 8, benchScans, tracetest.Day)) })
	b.Run("busy", func(b *testing.B) { benchmarkReplay(b, recordStory(b, 8, benchScans, tracetest.Run)) })
}

func benchmarkReplay(b *testing.B, table []byte) {
	c, h := tracetest.Config(8), tracetest.Header(8)
	var split, replay time.Duration
	var stepped uint64
	b.SetBytes(int64(len(table)))
	for b.Loop() {
		begin := time.Now()
		splitOnly(b, table)
		middle := time.Now()
		reader, err := csv.NewReader(bytes.NewReader(table), h, c)
		if err != nil {
			b.Fatal(err)
		}
		replayer := New(c, h, Options{})
		report, err := replayer.Run(reader, &reader.Diary)
		stepped = replayer.turner.stepped
		if err != nil || report.Verdict != verdict.Shown {
			b.Fatal(err, report.Verdict)
		}
		split += middle.Sub(begin)
		replay += time.Since(middle)
	}
	n := float64(b.N)
	b.ReportMetric(replay.Seconds()/split.Seconds(), "of-csv-split")
	b.ReportMetric(float64(len(table))*n/1e6/replay.Seconds(), "replay-MB/s")
	b.ReportMetric(float64(len(table))*n/1e6/split.Seconds(), "split-MB/s")
	b.ReportMetric(8*benchScans*n/replay.Seconds(), "channel-samples/s")
	b.ReportMetric(float64(stepped)/benchScans, "stepped")
	b.ReportMetric(0, "ns/op") // both sides together: says nothing
}

// splitOnly is the peer: encoding/csv in its quickest setting.
func splitOnly(b *testing.B, table []byte) {
	r := stdcsv.NewReader(bytes.NewReader(table))
	r.Comment, r.ReuseRecord, r.FieldsPerRecord = '#', true, -1
	for {
		if _, err := r.Read(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			b.Fatal(err)
		}
	}
}
