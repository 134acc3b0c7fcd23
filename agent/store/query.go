package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/crc32"
	"time"
)

// States returns the stored state of every subject.
func (s *Store) States(ctx context.Context) (map[string]State, error) {
	return statesFrom(ctx, s.read, s.path)
}

func statesFrom(ctx context.Context, db querier, path string) (map[string]State, error) {
	states := map[string]State{}
	err := scan(ctx, db, "SELECT subject, version, crc, body FROM state", nil, func(rows *sql.Rows) error {
		var subject string
		var crc uint32
		var st State
		if err := rows.Scan(&subject, &st.Version, &crc, &st.Body); err != nil {
			return err
		}
		if crc32.Checksum(st.Body, castagnoli) != crc {
			return &DamageError{path, fmt.Sprintf("state of %q: checksum does not match", subject)}
		}
		if len(st.Body) > 0 && st.Body[0] != '{' { // JSON as it is was kept by older agents
			body, err := unsqueeze(st.Body)
			if err != nil {
				return &DamageError{path, fmt.Sprintf("state of %q: %v", subject, err)}
			}
			st.Body = body
		}
		states[subject] = st
		return nil
	})
	return states, err
}

// Counters returns each pump's packed counters, and the wall time they were
// saved (zero when there are none).
func (s *Store) Counters(ctx context.Context) (map[string][]byte, time.Time, error) {
	row, err := countersFrom(ctx, s.read, s.path)
	return row.Of, row.At, err
}

func countersFrom(ctx context.Context, db querier, path string) (counterRow, error) {
	var packed []byte
	err := db.QueryRowContext(ctx, "SELECT packed FROM counters WHERE id = 1").Scan(&packed)
	if errors.Is(err, sql.ErrNoRows) {
		return counterRow{}, nil
	}
	if err != nil {
		return counterRow{}, err
	}
	row, err := unpackCounters(packed)
	if err != nil {
		return counterRow{}, &DamageError{path, err.Error()}
	}
	return row, nil
}

// Meta returns a named value, "" when there is none.
func (s *Store) Meta(ctx context.Context, key string) (string, error) {
	return metaFrom(ctx, s.read, key)
}

func metaFrom(ctx context.Context, db querier, key string) (value string, err error) {
	err = db.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = ?", key).Scan(&value)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return value, err
}

// LastSeq returns the highest Seq in the journal of subject, 0 when there is
// none. Entries that were removed by age do not count.
func (s *Store) LastSeq(ctx context.Context, subject string) (uint64, error) {
	var seq int64
	err := s.read.QueryRowContext(ctx, "SELECT coalesce(max(seq), 0) FROM journal WHERE subject = ?", subject).Scan(&seq)
	return uint64(seq), err
}

// Topics returns the retained topics that hold something, in order.
func (s *Store) Topics(ctx context.Context) (topics []string, err error) {
	err = scan(ctx, s.read, "SELECT topic FROM topic ORDER BY topic", nil, func(rows *sql.Rows) error {
		topics = append(topics, "")
		return rows.Scan(&topics[len(topics)-1])
	})
	return topics, err
}

// Seen reports whether a command id was put before. Ids still in memory and
// ids older than Options.CommandsSeen others do not count.
func (s *Store) Seen(ctx context.Context, id string) (seen bool, err error) {
	err = s.read.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM command WHERE id = ?)", id).Scan(&seen)
	return seen, err
}

// Ledger returns the whole service ledger, oldest line first.
func (s *Store) Ledger(ctx context.Context) ([]LedgerEntry, error) {
	return s.ledgerFrom(ctx, s.read)
}

// EachLedger gives f every line of the service ledger, oldest first, as it is
// read. An error of f ends it and is returned.
func (s *Store) EachLedger(ctx context.Context, f func(LedgerEntry) error) error {
	return eachLedger(ctx, s.read, f)
}

func (s *Store) ledgerFrom(ctx context.Context, db querier) (entries []LedgerEntry, err error) {
	err = eachLedger(ctx, db, func(e LedgerEntry) error {
		entries = append(entries, e)
		return nil
	})
	return entries, err
}

func eachLedger(ctx context.Context, db querier, f func(LedgerEntry) error) error {
	q := "SELECT key, subject, wall, boot, since_boot, synchronized, body FROM ledger ORDER BY id"
	return scan(ctx, db, q, nil, func(rows *sql.Rows) error {
		var e LedgerEntry
		var wall, sinceBoot int64
		if err := rows.Scan(&e.Key, &e.Subject, &wall, &e.At.Boot, &sinceBoot, &e.At.Synchronized, &e.Body); err != nil {
			return err
		}
		e.At = instant(wall, e.At.Boot, sinceBoot, e.At.Synchronized)
		return f(e)
	})
}

// History returns the blocks of one series that touch the time from..to
// (wall times, to exclusive), oldest first.
func (s *Store) History(ctx context.Context, subject, kind string, from, to time.Time) (blocks []Block, err error) {
	// Blocks of a series do not overlap, so only the last one that starts
	// before from can reach into the time asked for.
	const q = `SELECT start, stop, body FROM history WHERE subject = ?1 AND kind = ?2 AND start < ?4 AND stop > ?3
		AND start >= coalesce((SELECT max(start) FROM history WHERE subject = ?1 AND kind = ?2 AND start <= ?3), ?3) ORDER BY start`
	args := []any{subject, kind, millis(from), millis(to)}
	err = scan(ctx, s.read, q, args, func(rows *sql.Rows) error {
		b, err := s.block(rows, subject, kind)
		blocks = append(blocks, b)
		return err
	})
	return blocks, err
}

// EachBlock gives f every block of a kind of a subject, in the order they came,
// as it is read, with the number by which [Store.Block] finds it. An error of f
// ends it and is returned.
func (s *Store) EachBlock(ctx context.Context, subject, kind string, f func(number int64, b Block) error) error {
	q := "SELECT start, stop, body, id FROM history WHERE subject = ? AND kind = ? ORDER BY id"
	return scan(ctx, s.read, q, []any{subject, kind}, func(rows *sql.Rows) error {
		var number int64
		b, err := s.block(rows, subject, kind, &number)
		if err != nil {
			return err
		}
		return f(number, b)
	})
}

// Block returns the block of a kind that has a number; found is whether there
// is one.
func (s *Store) Block(ctx context.Context, kind string, number int64) (b Block, found bool, err error) {
	q := "SELECT start, stop, body, subject FROM history WHERE kind = ? AND id = ?"
	err = scan(ctx, s.read, q, []any{kind, number}, func(rows *sql.Rows) (err error) {
		var subject string
		b, err = s.block(rows, fmt.Sprintf("number %d", number), kind, &subject)
		b.Subject, found = subject, true
		return err
	})
	return b, found, err
}

// block reads start, stop and body of a row, and what comes after them into
// more.
func (s *Store) block(rows *sql.Rows, subject, kind string, more ...any) (Block, error) {
	var start, stop int64
	var body []byte
	if err := rows.Scan(append([]any{&start, &stop, &body}, more...)...); err != nil {
		return Block{}, err
	}
	body, err := unsqueeze(body)
	if err != nil {
		return Block{}, &DamageError{s.path, fmt.Sprintf("%s %s from %v: %v", subject, kind, fromMillis(start), err)}
	}
	return Block{Subject: subject, Kind: kind, Start: fromMillis(start), Stop: fromMillis(stop), Body: body}, nil
}

// scan runs q and gives each row to f.
func scan(ctx context.Context, db querier, q string, args []any, f func(*sql.Rows) error) error {
	rows, err := db.QueryContext(ctx, q, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
