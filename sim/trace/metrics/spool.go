package metrics

import (
	"io"
	"os"
)

// A file of metrics holds each family in one piece and in it each metric in one
// piece, while a run brings them all at once. So the samples of each metric go
// to a spool in blocks, and are put together at the end: memory does not grow
// with the run.

// blockSize is how much of one metric is kept before it goes to the spool.
const blockSize = 4 << 10

// spooled is what one metric has written.
type spooled struct {
	buffer  []byte
	blocks  []extent
	last    int64 // milliseconds of the last sample
	started bool
	samples int
}

type extent struct{ at, size int64 }

// spool is the file of blocks.
type spool struct {
	file *os.File
	size int64
}

func newSpool() (*spool, error) {
	file, err := os.CreateTemp("", "ohmgate-metrics-")
	if err != nil {
		return nil, err
	}
	// Without its name it vanishes with the process; where a system cannot do
	// that, close removes it.
	os.Remove(file.Name())
	return &spool{file: file}, nil
}

// push moves a metric's buffer to the spool.
func (s *spool) push(m *metric) error {
	n, err := s.file.WriteAt(m.spool.buffer, s.size)
	m.spool.blocks = append(m.spool.blocks, extent{s.size, int64(n)})
	s.size += int64(n)
	m.spool.buffer = m.spool.buffer[:0]
	return err
}

// pull writes all that a metric has written, in order.
func (s *spool) pull(to io.Writer, m *metric) error {
	for _, b := range m.spool.blocks {
		if _, err := io.Copy(to, io.NewSectionReader(s.file, b.at, b.size)); err != nil {
			return err
		}
	}
	_, err := to.Write(m.spool.buffer)
	return err
}

func (s *spool) close() {
	s.file.Close()
	os.Remove(s.file.Name())
}
