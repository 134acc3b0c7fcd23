package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"time"

	"modernc.org/sqlite"
)

// A Store is an open state file. Its queries may be made from any goroutine
// and do not hold up the Writer.
type Store struct {
	path   string
	opts   Options
	steps  []step
	lock   lockFile
	stream string
	saved  counterRow // the counters row found at opening

	db   *sql.DB   // behind conn
	conn *sql.Conn // the only one that writes: Open's, then the Writer's
	read *sql.DB   // for queries; connects when first used
}

// Open opens the state file at path, or makes one. It says in Recovery what it
// found. A damaged file is set aside and what is good is taken over into a new
// one; see [Recovery]. Beside the file lie, under its name with an ending:
//
//	-wal                 SQLite's log
//	.lock                who has the file open
//	.counters-0 … -3     copies of the counters, made in turn
//	.ledger              a copy of the service ledger
//	.reserve             2 MB of room on the disk, given up when there is none left
//	.unsaved             says that the last run could not save at its stop
//	.damaged-<time>      a file that was set aside (the newest three stay)
//	.before-restore-<time>, .schema-<n>   the file before a restore or a change of schema
//
// Errors: a *[LockedError] while another process has the file, a
// *[NewerSchemaError], a *[ForeignFileError], or what the file system said.
// Close releases the file.
func Open(path string, o Options) (*Store, Recovery, error) {
	return open(path, o, schema)
}

func open(path string, o Options, steps []step) (*Store, Recovery, error) {
	lock, err := acquire(path)
	if err != nil {
		return nil, Recovery{}, err
	}
	s := &Store{path: path, opts: o.withDefaults(), steps: steps, lock: lock}
	rec, err := s.recoverOpen()
	if err != nil {
		return nil, rec, errors.Join(err, s.Close())
	}
	return s, rec, nil
}

// Close closes the file. The Writer's Run must have returned and queries must
// be over.
func (s *Store) Close() error {
	err := s.disconnect()
	return errors.Join(err, s.lock.release())
}

// Path returns where the state file is.
func (s *Store) Path() string { return s.path }

// StreamID returns the name of the sequence that Entry.Seq counts in. It is
// random, and new after a restore or damage.
func (s *Store) StreamID() string { return s.stream }

// address is the DSN for path. SQLite's unix-excl VFS keeps other processes
// out for as long as the file is open.
func address(path, more string) string {
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath()}
	return u.String() + "?vfs=unix-excl&_pragma=busy_timeout(1000)&_pragma=trusted_schema(0)&_pragma=temp_store(memory)" + more
}

// connect opens what is at the path and brings it to the newest schema.
func (s *Store) connect(ctx context.Context, rec *Recovery) (err error) {
	// fdatasync leaves out the file's times, which nobody needs: one write
	// less through the file system's own journal for every commit.
	if _, err := sqlite.Fdatasync(true); err != nil {
		return err
	}
	if err := touch(s.path); err != nil {
		return err
	}
	if s.db, err = sql.Open("sqlite", address(s.path, writerPragmas)); err != nil {
		return err
	}
	s.db.SetMaxOpenConns(1)
	if s.conn, err = s.db.Conn(ctx); err != nil {
		return err
	}
	version, err := identify(ctx, s.conn, s.path)
	if err != nil {
		return err
	}
	if err := s.prepareFile(ctx, version); err != nil {
		return err
	}
	copied, err := migrate(ctx, s.conn, s.path, version, s.steps)
	if copied != "" {
		rec.MigratedFrom, rec.KeptCopy = version, copied
	}
	if err != nil {
		return err
	}
	if s.read, err = sql.Open("sqlite", address(s.path, readerPragmas)); err != nil {
		return err
	}
	s.read.SetMaxOpenConns(2)
	s.read.SetConnMaxIdleTime(time.Minute) // gives its page cache back
	return nil
}

// The log is moved into the file once it has 1000 pages: in quiet times twice a
// day with two pumps, every two hours with fifty. It is then 1 MB to read at
// the start after a crash.
const (
	writerPragmas = "&_pragma=synchronous(full)&_pragma=wal_autocheckpoint(1000)&_pragma=journal_size_limit(4194304)&_pragma=cache_size(-1024)"
	readerPragmas = "&_pragma=query_only(1)&_pragma=cache_size(-1024)"
)

// prepareFile sets what is a property of the file. The page size can only be
// chosen before the first table; a restored backup comes without WAL.
func (s *Store) prepareFile(ctx context.Context, version int) error {
	if version == 0 {
		if _, err := s.conn.ExecContext(ctx, fmt.Sprintf("PRAGMA page_size = %d", pageSize)); err != nil {
			return err
		}
	}
	var mode string
	if err := s.conn.QueryRowContext(ctx, "PRAGMA journal_mode = wal").Scan(&mode); err != nil {
		return err
	}
	if mode != "wal" {
		return fmt.Errorf("state file %q: the file system allows journal mode %q only, not wal", s.path, mode)
	}
	return s.limitFile(ctx, s.opts.FileLimit)
}

func (s *Store) limitFile(ctx context.Context, bytes int64) error {
	var page int64
	if err := s.conn.QueryRowContext(ctx, "PRAGMA page_size").Scan(&page); err != nil {
		return err
	}
	_, err := s.conn.ExecContext(ctx, fmt.Sprintf("PRAGMA max_page_count = %d", bytes/page))
	return err
}

// touch makes the file with our permissions; SQLite would use its own.
func touch(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, filePermissions)
	if os.IsExist(err) {
		return nil
	}
	if err != nil {
		return err
	}
	return f.Close()
}

// checkpoint moves what it can of the log into the file.
func (s *Store) checkpoint() {
	_, _ = s.conn.ExecContext(context.Background(), "PRAGMA wal_checkpoint(PASSIVE)")
}

// disconnect closes the database; the lock stays. The log goes into the file
// with the last connection.
func (s *Store) disconnect() error {
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.conn != nil {
		errs = append(errs, s.conn.Close())
	}
	if s.db != nil {
		errs = append(errs, s.db.Close())
	}
	s.read, s.conn, s.db = nil, nil, nil
	return errors.Join(errs...)
}

// newStream draws a stream id.
func newStream() string { return rand.Text() }
