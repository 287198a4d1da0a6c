package port

import (
	"errors"
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// portLock is an own lock file per device. The library asks the system for exclusive access and does not look at the
// answer; two programs on one relay bus would interleave their frames.
type portLock struct {
	file *os.File
}

// lockPath names the lock file after the device itself, so that two names for one device (by-id and ttyUSB0) share it. It
// lies in the system's temporary directory; programs that are given different ones do not see each other's locks.
func lockPath(path string) string {
	device := path
	if real, err := filepath.EvalSymlinks(path); err == nil {
		device = real
	}
	if absolute, err := filepath.Abs(device); err == nil && !strings.HasPrefix(device, "COM") {
		device = absolute
	}
	sum := fnv.New64a()
	_, _ = sum.Write([]byte(device))
	return filepath.Join(os.TempDir(), fmt.Sprintf("ohmgate-port-%s-%016x.lock", filepath.Base(device), sum.Sum64()))
}

// takeLock takes the lock or says who has it. The system drops it when the process ends, however it ends; the file
// stays, because removing it would race with the next one who opens it.
func takeLock(path string) (*portLock, error) {
	name := lockPath(path)
	file, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o666)
	if errors.Is(err, os.ErrPermission) {
		file, err = os.Open(name) // made by another user; a lock needs no right to write
	}
	if err != nil {
		return nil, &Fault{Port: path, Kind: ErrCannotOpen, Note: "cannot open the lock file " + name, Cause: err}
	}
	if err := patientLock(file); err != nil {
		holder := readHolder(file)
		_ = file.Close()
		if errors.Is(err, errLockHeld) {
			return nil, &Fault{Port: path, Kind: ErrInUse, Note: "held by " + holder + ": end it first"}
		}
		return nil, &Fault{Port: path, Kind: ErrCannotOpen, Note: "cannot lock " + name, Cause: err}
	}
	_ = file.Truncate(0)
	_, _ = file.WriteAt([]byte(fmt.Sprintf("process %d\n", os.Getpid())), 0)
	return &portLock{file: file}, nil
}

// patientLock gives a holder who is just leaving a moment.
func patientLock(file *os.File) error {
	const moments, moment = 5, 10 * time.Millisecond
	err := lockFile(file)
	for tries := 0; tries < moments && errors.Is(err, errLockHeld); tries++ {
		time.Sleep(moment)
		err = lockFile(file)
	}
	return err
}

// HoldAlone locks any open file for this process alone, until the file is closed or the process ends, however it ends. The
// error is ErrInUse where another process holds it.
func HoldAlone(file *os.File) error {
	if err := lockFile(file); errors.Is(err, errLockHeld) {
		return &Fault{Port: file.Name(), Kind: ErrInUse, Note: "another process has it open: end it first"}
	} else if err != nil {
		return &Fault{Port: file.Name(), Kind: ErrCannotOpen, Note: "cannot lock it", Cause: err}
	}
	return nil
}

var errLockHeld = errors.New("lock held")

func readHolder(file *os.File) string {
	text := make([]byte, 64)
	count, _ := file.ReadAt(text, 0)
	if holder := strings.TrimSpace(string(text[:count])); holder != "" {
		return holder
	}
	return "another process"
}

func (l *portLock) release() {
	if l != nil && l.file != nil {
		_ = l.file.Close()
		l.file = nil
	}
}
