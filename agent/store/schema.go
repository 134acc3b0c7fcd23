package store

import (
	"context"
	"database/sql"
	"fmt"
	"os"
)

// A step takes the schema one version up. Steps are never changed once
// released: a new need is a new step at the end.
type step struct {
	version int
	sql     string
}

// applicationID marks a file as a pumpside state file ("pmps").
const applicationID = 0x706d7073

// pageSize is explained in the package doc.
const pageSize = 1024

var schema = []step{
	{1, `
		PRAGMA application_id = 0x706d7073;

		-- named values; keys that begin with "store." are the store's own
		CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

		-- one row: the counters of all pumps, packed (see pack.go)
		CREATE TABLE counters (id INTEGER PRIMARY KEY CHECK (id = 1), packed BLOB NOT NULL);

		-- subject '' is the site; crc is CRC-32C of body, whose first byte says how the rest is kept, '{' that it is all
		CREATE TABLE state (subject TEXT PRIMARY KEY, version INTEGER NOT NULL, crc INTEGER NOT NULL, body TEXT NOT NULL);

		-- wall: milliseconds since 1970 UTC; since_boot: nanoseconds; id: order of arrival
		CREATE TABLE journal (
			id INTEGER PRIMARY KEY, subject TEXT NOT NULL, seq INTEGER NOT NULL,
			wall INTEGER NOT NULL, boot TEXT NOT NULL, since_boot INTEGER NOT NULL, synchronized INTEGER NOT NULL,
			class INTEGER NOT NULL, alarm TEXT NOT NULL, occurrence INTEGER NOT NULL, body TEXT NOT NULL);
		CREATE UNIQUE INDEX journal_key ON journal (subject, seq);

		-- the undelivered part of the journal, by journal.id
		CREATE TABLE outbox (id INTEGER PRIMARY KEY, class INTEGER NOT NULL);

		-- start, stop: milliseconds since 1970 UTC; the first byte of body says how the rest is kept
		CREATE TABLE history (
			id INTEGER PRIMARY KEY, subject TEXT NOT NULL, kind TEXT NOT NULL,
			start INTEGER NOT NULL, stop INTEGER NOT NULL, body BLOB NOT NULL);
		CREATE UNIQUE INDEX history_key ON history (subject, kind, start);
		CREATE INDEX history_age ON history (kind, stop);

		CREATE TABLE ledger (
			id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, subject TEXT NOT NULL,
			wall INTEGER NOT NULL, boot TEXT NOT NULL, since_boot INTEGER NOT NULL, synchronized INTEGER NOT NULL,
			body TEXT NOT NULL);
		CREATE TRIGGER ledger_is_not_changed BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
		CREATE TRIGGER ledger_is_not_cut BEFORE DELETE ON ledger BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

		-- retained MQTT topics that hold something; command ids seen, in order
		CREATE TABLE topic (topic TEXT PRIMARY KEY) WITHOUT ROWID;
		CREATE TABLE command (n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE);
	`},
}

// smallTables are looked through at every opening. They hold what the agent
// cannot start without, and stay small.
var smallTables = []string{"meta", "counters", "state", "ledger", "topic", "outbox"}

// identify tells apart a new file (version 0), one of ours, and others.
func identify(ctx context.Context, conn *sql.Conn, path string) (version int, err error) {
	var app, tables int
	err = conn.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&app, &version, &tables)
	switch {
	case err != nil:
		return 0, err
	case tables == 0 && app == 0 && version == 0:
		return 0, nil
	case app != applicationID:
		return 0, &ForeignFileError{Path: path}
	}
	return version, nil
}

// migrate takes the file from version to the newest of steps, each step in a
// transaction of its own. Before the first step on a file that holds
// something, a copy is kept; its path is returned.
func migrate(ctx context.Context, conn *sql.Conn, path string, version int, steps []step) (copied string, err error) {
	newest := steps[len(steps)-1].version
	if version > newest {
		return "", &NewerSchemaError{Path: path, Found: version, Known: newest}
	}
	if version > 0 && version < newest {
		copied = fmt.Sprintf("%s.schema-%d", path, version)
		if err := vacuumInto(ctx, conn, copied); err != nil {
			return "", fmt.Errorf("keep a copy before changing the schema of state file %q: %w", path, err)
		}
	}
	for _, s := range steps {
		if s.version <= version {
			continue
		}
		q := fmt.Sprintf("BEGIN IMMEDIATE; %s; PRAGMA user_version = %d; COMMIT", s.sql, s.version)
		if _, err := conn.ExecContext(ctx, q); err != nil {
			_, _ = conn.ExecContext(ctx, "ROLLBACK")
			return copied, fmt.Errorf("take state file %q to schema %d: %w", path, s.version, err)
		}
	}
	return copied, nil
}

// vacuumInto writes a whole, checked copy of conn's database to path. A copy
// that was cut short never stands under the final name.
func vacuumInto(ctx context.Context, conn *sql.Conn, path string) error {
	part := path + partSuffix
	if err := os.Remove(part); err != nil && !os.IsNotExist(err) {
		return err
	}
	if _, err := conn.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		_ = os.Remove(part)
		return err
	}
	if err := os.Chmod(part, 0o640); err != nil { // as the state file
		return err
	}
	return moveInPlace(part, path)
}
