package store

import (
	"context"
	"database/sql"
	"fmt"
	"hash/crc32"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"pumpside/drivers"
)

// SQLite's codes for a row that does not fit its table.
const (
	codeConstraint = sqlite3.SQLITE_CONSTRAINT
	codeMismatch   = sqlite3.SQLITE_MISMATCH
)

// The store's own named values.
const (
	metaStream   = "store.stream_id"
	metaRestored = "store.restored"
	metaDropped  = "store.outbox_dropped_" // and the class
)

// A querier is what a query needs: the writing connection, or a reader.
type querier interface {
	QueryContext(ctx context.Context, q string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, q string, args ...any) *sql.Row
}

// A tx is one write transaction. The first error makes the rest do nothing,
// and end returns it.
type tx struct {
	ctx  context.Context
	conn *sql.Conn
	err  error
}

func begin(ctx context.Context, conn *sql.Conn) *tx {
	t := &tx{ctx: ctx, conn: conn}
	t.exec("BEGIN IMMEDIATE")
	return t
}

// exec runs q and returns how many rows it changed.
func (t *tx) exec(q string, args ...any) int64 {
	if t.err != nil {
		return 0
	}
	res, err := t.conn.ExecContext(t.ctx, q, args...)
	if err != nil {
		t.err = err
		return 0
	}
	n, _ := res.RowsAffected() // the driver knows it at once
	return n
}

// try is exec for a row that may be refused without harm to the others.
func (t *tx) try(q string, args ...any) int64 {
	if t.err != nil {
		return 0
	}
	n := t.exec(q, args...)
	if c := code(t.err); c == codeConstraint || c == codeMismatch {
		n, t.err = 0, nil
	}
	return n
}

// end commits, or rolls back after an error, and returns that.
func (t *tx) end() error {
	t.exec("COMMIT")
	if t.err != nil {
		// It may be over already: SQLite rolls back by itself on a full disk.
		_, _ = t.conn.ExecContext(t.ctx, "ROLLBACK")
	}
	return t.err
}

func (t *tx) setMeta(key, value string) {
	if value == "" {
		t.exec("DELETE FROM meta WHERE key = ?", key)
		return
	}
	t.exec("INSERT INTO meta (key, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", key, value)
}

// setState keeps a state deflated: it is written each hour and with every event.
func (t *tx) setState(subject string, st State) {
	body := squeeze(st.Body)
	t.exec(`INSERT INTO state (subject, version, crc, body) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET version = excluded.version, crc = excluded.crc, body = excluded.body`,
		subject, st.Version, crc32.Checksum(body, castagnoli), body)
}

const journalColumns = "subject, seq, wall, boot, since_boot, synchronized, class, alarm, occurrence, body"

// insertEntry returns the row's id, or 0 when its key is there already.
func (t *tx) insertEntry(e Entry) (id int64) {
	if t.err != nil {
		return 0
	}
	row := t.conn.QueryRowContext(t.ctx, "INSERT INTO journal ("+journalColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING RETURNING id",
		e.Subject, int64(e.Seq), millis(e.At.Wall), e.At.Boot, int64(e.At.SinceBoot), e.At.Synchronized, e.Class, e.Alarm, int64(e.Occurrence), string(e.Body))
	if err := row.Scan(&id); err != nil && err != sql.ErrNoRows {
		t.err = err
	}
	return id
}

// sameEntry reports whether the stored entry with e's key has e's contents.
func (t *tx) sameEntry(e Entry) bool {
	var body []byte
	if t.err == nil {
		t.err = t.conn.QueryRowContext(t.ctx, "SELECT body FROM journal WHERE subject = ? AND seq = ?", e.Subject, int64(e.Seq)).Scan(&body)
	}
	return t.err == nil && string(body) == string(e.Body)
}

func (t *tx) insertLedger(e LedgerEntry) int64 {
	return t.exec(`INSERT INTO ledger (key, subject, wall, boot, since_boot, synchronized, body) VALUES (?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO NOTHING`, e.Key, e.Subject, millis(e.At.Wall), e.At.Boot, int64(e.At.SinceBoot), e.At.Synchronized, string(e.Body))
}

func (t *tx) insertBlock(b Block) {
	t.exec(`INSERT INTO history (subject, kind, start, stop, body) VALUES (?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET stop = excluded.stop, body = excluded.body`,
		b.Subject, b.Kind, millis(b.Start), millis(b.Stop), squeeze(b.Body))
}

// one reads a single number.
func (t *tx) one(q string, args ...any) (n int64) {
	if t.err == nil {
		if t.err = t.conn.QueryRowContext(t.ctx, q, args...).Scan(&n); t.err != nil {
			t.err = fmt.Errorf("read %q: %w", q, t.err)
		}
	}
	return n
}

// millis is how wall times are kept; the zero time is 0.
func millis(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}

func fromMillis(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

func instant(wall int64, boot string, sinceBoot int64, synchronized bool) drivers.Instant {
	return drivers.Instant{Wall: fromMillis(wall), Boot: boot, SinceBoot: time.Duration(sinceBoot), Synchronized: synchronized}
}
