package store

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"time"
)

// Backup writes a whole copy of the state file to path, replacing what is
// there once the copy is complete. The Writer goes on meanwhile. The state file
// itself and what lies open beside it are refused.
func (s *Store) Backup(ctx context.Context, path string) error {
	if IsPartOf(s.path, path) {
		return fmt.Errorf("back up to %q: that is the state file in use", path)
	}
	// A connection of its own: the readers are not allowed to write, and to
	// SQLite this is writing.
	err := withConn(ctx, address(s.path, ""), func(conn *sql.Conn) error {
		return vacuumInto(ctx, conn, path)
	})
	if err != nil {
		return fmt.Errorf("back up to %q: %w", path, err)
	}
	return nil
}

// IsPartOf reports whether path is the state file at state or lies open beside
// it, so that nothing may be written there.
func IsPartOf(state, path string) bool {
	for _, end := range []string{"", logSuffix, lockSuffix} {
		if sameFile(state+end, path) {
			return true
		}
	}
	return false
}

// sameFile reports whether two paths lead to one file that is there.
func sameFile(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}

// Restore makes a copy of the backup at from the state file at path, with a
// new stream id: what was undelivered when the backup was made will be
// delivered again, and counters go on from where they were then. What was at
// path, and its copies, are moved aside; aside is the state file's new name, ""
// when there was none. No agent may have either file open.
func Restore(path, from string) (aside string, err error) {
	lock, err := acquire(path)
	if err != nil {
		return "", err
	}
	defer lock.release()
	part := path + partSuffix
	defer os.Remove(part)
	now := time.Now().UTC()
	if err := copyBackup(context.Background(), from, part, now); err != nil {
		return "", fmt.Errorf("restore %q: %w", from, err)
	}
	if aside, err = moveAllAside(path, now); err != nil {
		return "", fmt.Errorf("restore %q: move the old state file aside: %w", from, err)
	}
	if err := moveInPlace(part, path); err != nil {
		return aside, fmt.Errorf("restore %q: %w", from, err)
	}
	return aside, nil
}

// copyBackup checks from wholly, and leaves a copy with a new stream id at part.
func copyBackup(ctx context.Context, from, part string, now time.Time) error {
	if _, err := os.Stat(from); err != nil {
		return err
	}
	err := withConn(ctx, address(from, ""), func(conn *sql.Conn) error {
		version, err := identify(ctx, conn, from)
		newest := schema[len(schema)-1].version
		switch {
		case err != nil:
			return err
		case version == 0:
			return &ForeignFileError{Path: from}
		case version > newest:
			return &NewerSchemaError{Path: from, Found: version, Known: newest}
		}
		if err := quickCheck(ctx, conn, from, ""); err != nil {
			return err
		}
		return vacuumInto(ctx, conn, part)
	})
	if err != nil {
		return err
	}
	return withConn(ctx, address(part, ""), func(conn *sql.Conn) error {
		t := begin(ctx, conn)
		t.setMeta(metaStream, newStream())
		t.setMeta(metaRestored, now.Format(time.RFC3339))
		return t.end()
	})
}

func withConn(ctx context.Context, dsn string, f func(*sql.Conn) error) error {
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	return f(conn)
}

// moveAllAside moves the state file and what belongs to it, but for the lock.
func moveAllAside(path string, now time.Time) (aside string, err error) {
	if exists(path) {
		aside = path + beforeSuffix + now.Format("20060102T150405.000Z")
	}
	for i := range counterCopies {
		if _, err := moveAside(copyPath(path, i), beforeSuffix, now); err != nil {
			return "", err
		}
	}
	if _, err := moveAside(path+ledgerSuffix, beforeSuffix, now); err != nil {
		return "", err
	}
	_, err = moveAside(path, beforeSuffix, now)
	return aside, err
}
