package main

import (
	"fmt"
	"io"
	"os"
	"runtime"
	"sync"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// barsOn draws bars of so many columns for people at a terminal; elsewhere it is
// nil, and nothing is drawn.
func barsOn(errs io.Writer, width int) *mpb.Progress {
	file, ok := errs.(*os.File)
	if !ok || !isatty.IsTerminal(file.Fd()) {
		return nil
	}
	return mpb.New(mpb.WithOutput(file), mpb.WithWidth(width))
}

// progress shows how far a long reading is.
type progress struct {
	group *mpb.Progress
	bar   *mpb.Bar
}

func newProgress(errs io.Writer) *progress { return &progress{group: barsOn(errs, 50)} }

func (p *progress) begin(size int64) {
	if p.group != nil && size > 0 {
		p.bar = p.group.AddBar(size, mpb.BarRemoveOnComplete(),
			mpb.PrependDecorators(decor.Name("replay "), decor.CountersKibiByte("% .1f / % .1f")),
			mpb.AppendDecorators(decor.Percentage(), decor.Name(" "), decor.AverageETA(decor.ET_STYLE_GO)))
	}
}

// taken is told of every byte that came from the disk.
func (p *progress) taken(n int) {
	if p.bar != nil {
		p.bar.IncrBy(n)
	}
}

// end removes the bar. It may be called more than once.
func (p *progress) end() {
	if p.bar != nil {
		p.bar.Abort(true)
		p.group.Wait()
		p.bar = nil
	}
}

// searchBar shows how far long searches are: searches done, states, states a
// second, memory.
type searchBar struct {
	mu     sync.Mutex
	group  *mpb.Progress
	bar    *mpb.Bar
	began  time.Time
	what   string
	states uint64
}

// searchProgress is what a search tells how far it is, and what ends the bar; the
// first is nil where nobody would see it.
func searchProgress(errs io.Writer) (told func(done, of int, what string, states uint64), end func()) {
	s := &searchBar{group: barsOn(errs, 20), began: time.Now()}
	if s.group == nil {
		return nil, func() {}
	}
	return s.told, s.end
}

func (s *searchBar) told(done, of int, what string, states uint64) {
	s.mu.Lock()
	s.what, s.states = what, states
	if s.bar == nil {
		s.bar = s.group.AddBar(int64(of), mpb.BarRemoveOnComplete(),
			mpb.PrependDecorators(decor.CountersNoUnit("%d/%d")), mpb.AppendDecorators(decor.Any(s.text)))
	}
	bar := s.bar
	s.mu.Unlock()
	bar.SetTotal(int64(of), false)
	bar.SetCurrent(int64(done))
}

// text stands behind the bar.
func (s *searchBar) text(decor.Statistics) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var memory runtime.MemStats
	runtime.ReadMemStats(&memory)
	rate := float64(s.states) / time.Since(s.began).Seconds()
	return fmt.Sprintf(" %s states, %s/s, %d MB: %.24s", short(float64(s.states)), short(rate), memory.Sys>>20, s.what)
}

// short writes a large number with three digits.
func short(n float64) string {
	for _, unit := range []string{"", "k", "M", "G", "T"} {
		if n < 999.5 { // else rounded to four digits
			return fmt.Sprintf("%.3g%s", n, unit)
		}
		n /= 1000
	}
	return fmt.Sprintf("%.3gP", n)
}

func (s *searchBar) end() {
	s.mu.Lock()
	bar := s.bar
	s.bar = nil
	s.mu.Unlock()
	if bar != nil {
		bar.Abort(true)
		s.group.Wait()
	}
}
