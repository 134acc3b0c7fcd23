package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// A lockFile is the file beside the state file whose flock says who may open
// it. The kernel lets go of it when the process ends in whatever way, so a
// lock is never stale; the file itself stays.
type lockFile struct{ f *os.File }

// acquire takes the lock of the state file at path, or returns a *LockedError.
func acquire(path string) (lockFile, error) {
	f, err := os.OpenFile(path+lockSuffix, os.O_RDWR|os.O_CREATE, 0o640)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return lockFile{}, fmt.Errorf("state file %q: there is no folder %q: make the folder, or set store: {path: …} in the configuration", path, filepath.Dir(path))
	case err != nil:
		return lockFile{}, fmt.Errorf("lock state file: %w", err)
	}
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		defer f.Close()
		return lockFile{}, &LockedError{Path: path, PID: readPID(f)}
	}
	if err == nil {
		err = writePID(f)
	}
	if err != nil {
		f.Close()
		return lockFile{}, fmt.Errorf("lock state file %q: %w", path, err)
	}
	return lockFile{f}, nil
}

// writePID does not sync: the number only matters while its process lives.
// A full disk is no reason to refuse the lock, so only truncation counts.
func writePID(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return nil
}

func readPID(f *os.File) int {
	b, _ := io.ReadAll(io.LimitReader(f, 32))
	pid, _ := strconv.Atoi(strings.TrimSpace(string(b)))
	return pid
}

func (l lockFile) release() error {
	if l.f == nil {
		return nil
	}
	return l.f.Close()
}
