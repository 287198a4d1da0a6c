package trace

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/klauspost/compress/zstd"
)

// File is a file that people never see half-written: it grows under another
// name beside its own and takes its own name in Commit. A name that ends in .gz
// or .zst is compressed. A device or a pipe, such as /dev/null, is written to as it
// is: renaming over it would put a plain file in its place.
type File struct {
	path  string
	inner *os.File
	bare  bool // written to directly, since it is no plain file
	plain *bufio.Writer
	press io.WriteCloser // nil where nothing is compressed
}

// ErrCannotCreate is in every error of Create: the name is the user's mistake, and
// no fault of the machine.
var ErrCannotCreate = errors.New("cannot be written")

// Create opens a file for writing beside its final name.
func Create(path string) (*File, error) {
	_, base := filepath.Split(path)
	if base == "" {
		return nil, fmt.Errorf("%q %w: it names a directory; name a file in it", path, ErrCannotCreate)
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, fmt.Errorf("%q %w: it is a directory; name a file in it", path, ErrCannotCreate)
	}
	f := &File{path: path}
	if err := f.open(); err != nil {
		return nil, fmt.Errorf("%s %w: %w; name a file in a directory that exists and may be written", path, ErrCannotCreate, errors.Unwrap(err))
	}
	var err error
	var below io.Writer = f.inner
	switch {
	case strings.HasSuffix(path, ".gz"):
		f.press = gzip.NewWriter(f.inner) // writes no name and no time: the same run gives the same bytes
	case strings.HasSuffix(path, ".zst"):
		// One worker, so that the bytes do not depend on the machine.
		if f.press, err = zstd.NewWriter(f.inner, zstd.WithEncoderConcurrency(1)); err != nil {
			f.Discard()
			return nil, err
		}
	}
	if f.press != nil {
		below = f.press
	}
	f.plain = bufio.NewWriterSize(below, 64<<10)
	return f, nil
}

// open opens what is written to: a device or a pipe itself, else a file beside the
// one that is named. A link stays, and what it leads to is replaced.
func (f *File) open() (err error) {
	if target, err := filepath.EvalSymlinks(f.path); err == nil {
		f.path = target
	}
	if info, err := os.Stat(f.path); err == nil && !info.Mode().IsRegular() {
		f.bare = true
		f.inner, err = os.OpenFile(f.path, os.O_WRONLY, 0)
		return err
	}
	f.inner, err = os.CreateTemp(filepath.Dir(f.path), ".unfinished-*-"+filepath.Base(f.path))
	return err
}

// Write adds to the file.
func (f *File) Write(p []byte) (int, error) { return f.plain.Write(p) }

// Commit finishes the file and gives it its name.
func (f *File) Commit() error {
	err := f.plain.Flush()
	if f.press != nil {
		err = errors.Join(err, f.press.Close())
	}
	if !f.bare {
		err = errors.Join(err, f.inner.Chmod(0o644), f.inner.Sync())
	}
	err = errors.Join(err, f.inner.Close())
	if err == nil && !f.bare {
		err = os.Rename(f.inner.Name(), f.path)
	}
	if err != nil {
		f.remove()
		return fmt.Errorf("%s was not written: %w", f.path, err)
	}
	return nil
}

// Discard removes what was written so far.
func (f *File) Discard() {
	f.inner.Close()
	f.remove()
}

// remove removes the file beside; a device or a pipe stays.
func (f *File) remove() {
	if !f.bare {
		os.Remove(f.inner.Name())
	}
}

// Source is a recording being read, uncompressed on the way.
type Source struct {
	io.Reader
	Size  int64 // bytes in the file, as they lie on the disk
	inner *os.File
	done  func()
	count *counter
}

// counter counts what was taken from the disk, for whoever shows progress.
type counter struct {
	inner io.Reader
	taken func(n int)
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.inner.Read(p)
	if c.taken != nil {
		c.taken(n)
	}
	return n, err
}

// Open opens a recording; .gz and .zst are uncompressed. taken, if not nil, is
// told of every byte that was taken from the disk.
func Open(path string, taken func(n int)) (*Source, error) {
	inner, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the recording cannot be read: %w; name a file that exists", err)
	}
	info, err := inner.Stat()
	if err == nil && info.IsDir() {
		err = fmt.Errorf("%s is a directory; name the recording in it", path)
	}
	if err != nil {
		inner.Close()
		return nil, err
	}
	s := &Source{inner: inner, Size: info.Size(), done: func() {}, count: &counter{inner, taken}}
	s.Reader = s.count
	switch {
	case strings.HasSuffix(path, ".gz"):
		r, err := gzip.NewReader(bufio.NewReaderSize(s.count, 256<<10))
		if err != nil {
			inner.Close()
			return nil, fmt.Errorf("%s is no gzip file: %w; rename it or compress it again", path, err)
		}
		s.Reader = r
	case strings.HasSuffix(path, ".zst"):
		r, err := zstd.NewReader(s.count, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(256<<20))
		if err != nil {
			inner.Close()
			return nil, fmt.Errorf("%s is no zstd file: %w; rename it or compress it again", path, err)
		}
		s.Reader, s.done = r, r.Close
	}
	return s, nil
}

// Close ends the reading.
func (s *Source) Close() error {
	s.done()
	return s.inner.Close()
}
