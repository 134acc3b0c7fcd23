package store

import (
	"errors"
	"fmt"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

var (
	// ErrNotStored says that a change set is not durable yet: it is in memory
	// and the Writer tries again. Its entries must go out marked as not stored.
	ErrNotStored = errors.New("not stored yet, kept in memory")

	// ErrLost says that the store fails and memory for what waits is full: a
	// part of the change set, of a higher class than what stays, is gone.
	ErrLost = errors.New("not stored, and no room to keep it in memory")

	// ErrRepeatedSeq says that a journal entry came with the subject and seq
	// of an earlier one but with other contents. The earlier one stays.
	ErrRepeatedSeq = errors.New("a journal entry with this seq is already stored")
)

// A LockedError says that another process has the state file.
type LockedError struct {
	Path string
	PID  int // 0 when the holder has not said
}

func (e *LockedError) Error() string {
	holder := "another process"
	if e.PID != 0 {
		holder = fmt.Sprintf("process %d", e.PID)
	}
	return fmt.Sprintf("state file %q is in use by %s", e.Path, holder)
}

// A ForeignFileError says that a file was not written by this program.
type ForeignFileError struct{ Path string }

func (e *ForeignFileError) Error() string {
	return fmt.Sprintf("%q is not a state file, and was left as it is", e.Path)
}

// A NewerSchemaError says that a newer program wrote the file.
type NewerSchemaError struct {
	Path         string
	Found, Known int // schema versions
}

func (e *NewerSchemaError) Error() string {
	return fmt.Sprintf("state file %q has schema %d, this program knows up to %d: use the newer program, or restore the copy it kept beside the file before it changed the schema",
		e.Path, e.Found, e.Known)
}

// A DamageError says that a state file's contents cannot be trusted.
type DamageError struct {
	Path string
	Text string // what is wrong
}

func (e *DamageError) Error() string {
	return fmt.Sprintf("state file %q is damaged: %s", e.Path, e.Text)
}

// IsDiskFull reports whether err came from a disk without room, or from the
// size limit of the state file.
func IsDiskFull(err error) bool {
	return code(err) == sqlite3.SQLITE_FULL || errors.Is(err, syscall.ENOSPC)
}

// IsDamage reports whether err says that a state file's contents are wrong.
func IsDamage(err error) bool {
	var d *DamageError
	c := code(err)
	return c == sqlite3.SQLITE_CORRUPT || c == sqlite3.SQLITE_NOTADB || errors.As(err, &d)
}

// code returns SQLite's primary result code within err, 0 if there is none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}
