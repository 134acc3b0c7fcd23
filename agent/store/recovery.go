package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	sqlite3 "modernc.org/sqlite/lib"
)

// A Recovery says what Open found and did, so that the agent can say it aloud.
// The zero value means: a sound file, stopped cleanly.
type Recovery struct {
	Created bool // there was no file, or an empty one
	Unclean bool // the last run did not close the file, or could not save at its stop; run [Store.Check] beside the work

	MigratedFrom int    // the schema version before, 0 when it did not change
	KeptCopy     string // the copy made before the schema changed

	Damage   error          // why the file was set aside, a damage error; nil when it was sound
	SetAside string         // where it is now: its history and delivered journal are only there
	Salvaged map[string]int // rows taken over from it, by table

	// Where the counters of a file that had to be made anew came from: the
	// damaged file, a copy beside it, or "" for nowhere. They lack what was
	// counted after CountersAt (wall time of their last save).
	CountersFrom string
	CountersAt   time.Time

	LedgerLines int    // lines taken from the ledger's copy and not found elsewhere
	Restored    string // when the file was restored from a backup, RFC 3339; said until the next commit
}

func (s *Store) recoverOpen() (Recovery, error) {
	ctx := context.Background()
	rec := Recovery{
		Created: size(s.path) == 0,
		Unclean: size(s.path+logSuffix) > 0 || exists(s.path+unsavedSuffix),
	}
	foreign := looksForeign(s.path)
	err := s.connect(ctx, &rec)
	if IsDamage(err) && foreign {
		return rec, &ForeignFileError{Path: s.path}
	}
	switch {
	case err != nil:
	case s.isNew(ctx):
		err = s.fill(ctx, &rec)
	default:
		err = s.lookThrough(ctx, &rec)
	}
	if IsDamage(err) {
		rec.Damage = err
		err = s.replaceDamaged(ctx, &rec)
	}
	if err != nil {
		return rec, fmt.Errorf("open state file %q: %w", s.path, err)
	}
	_ = os.Remove(s.path + unsavedSuffix)
	return rec, nil
}

// isNew reports whether the file has no stream id yet and holds nothing else:
// a crash while it was made leaves it so.
func (s *Store) isNew(ctx context.Context) bool {
	var rows int
	err := s.conn.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM meta) + (SELECT count(*) FROM counters) +
		(SELECT count(*) FROM state) + (SELECT count(*) FROM journal)`).Scan(&rows)
	return err == nil && rows == 0
}

// lookThrough reads what the agent cannot start without and checks it. The
// rest is checked only when the last run said that it is suspect.
func (s *Store) lookThrough(ctx context.Context, rec *Recovery) error {
	err := s.readSmall(ctx, rec)
	if code(err) == sqlite3.SQLITE_ERROR {
		// The statements are sound, so a table is not as it was made.
		return &DamageError{s.path, err.Error()}
	}
	return err
}

func (s *Store) readSmall(ctx context.Context, rec *Recovery) error {
	for _, table := range smallTables {
		if err := quickCheck(ctx, s.conn, s.path, table); err != nil {
			return err
		}
	}
	if exists(s.path + suspectSuffix) {
		if err := quickCheck(ctx, s.conn, s.path, ""); err != nil {
			return err
		}
		if err := os.Remove(s.path + suspectSuffix); err != nil {
			return err
		}
	}
	if _, err := statesFrom(ctx, s.conn, s.path); err != nil {
		return err
	}
	row, err := countersFrom(ctx, s.conn, s.path)
	if err != nil {
		return err
	}
	s.saved = row
	s.stream, err = metaFrom(ctx, s.conn, metaStream)
	if err == nil && s.stream == "" {
		err = &DamageError{s.path, "it has no stream id"}
	}
	if err == nil {
		rec.Restored, err = metaFrom(ctx, s.conn, metaRestored)
	}
	return err
}

// quickCheck runs SQLite's check over one table, or over all with "".
func quickCheck(ctx context.Context, db querier, path, table string) error {
	q := "PRAGMA quick_check(1)"
	if table != "" {
		q = fmt.Sprintf("PRAGMA quick_check(%s)", table)
	}
	var found string
	if err := db.QueryRowContext(ctx, q).Scan(&found); err != nil {
		return err
	}
	if found != "ok" {
		return &DamageError{path, strings.TrimSpace(found)}
	}
	return nil
}

// Check reads the whole file and returns an error for which [IsDamage] holds
// when it is not sound; the next Open will then set it aside. It reads every
// page (about 0.2 s for 100 MB on a PC, on flash as long as that takes) and
// holds up nobody.
func (s *Store) Check(ctx context.Context) error {
	err := quickCheck(ctx, s.read, s.path, "")
	if IsDamage(err) {
		err = errors.Join(err, s.suspect())
	}
	return err
}

// suspect asks the next Open for a full check.
func (s *Store) suspect() error {
	return writeDurably(s.path+suspectSuffix, nil)
}

// replaceDamaged sets the file aside, makes a new one with a new stream id and
// fills it with what is good.
func (s *Store) replaceDamaged(ctx context.Context, rec *Recovery) error {
	_ = s.disconnect() // a damaged file may not close well; its descriptors are gone all the same
	aside, err := moveAside(s.path, damagedSuffix, time.Now())
	if err != nil {
		return fmt.Errorf("set the damaged file aside: %w", err)
	}
	rec.SetAside = aside
	if err := s.connect(ctx, rec); err != nil {
		return err
	}
	if err := s.fill(ctx, rec); err != nil {
		return err
	}
	_ = os.Remove(s.path + suspectSuffix)
	return thinAside(s.path)
}

// fill gives a new file its stream id, and what can be had from a damaged one
// and from the copies. It all becomes durable at once.
func (s *Store) fill(ctx context.Context, rec *Recovery) error {
	tx := begin(ctx, s.conn)
	tx.setMeta(metaStream, newStream())
	newest, from := newestCopy(s.path)
	if rec.SetAside != "" {
		old := salvage(ctx, tx, rec)
		if from == "" && old.Of != nil || old.Save > newest.Save {
			newest, from = old, rec.SetAside
		}
	}
	if from != "" {
		rec.CountersFrom, rec.CountersAt = from, newest.At
		tx.exec("INSERT OR REPLACE INTO counters (id, packed) VALUES (1, ?)", newest.pack(nil))
	}
	lines, _ := readLedgerCopy(s.path)
	for _, e := range lines {
		rec.LedgerLines += int(tx.insertLedger(e))
	}
	if err := tx.end(); err != nil {
		return fmt.Errorf("fill a new state file: %w", err)
	}
	return s.lookThrough(ctx, &Recovery{})
}
