package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"
)

// A JournalQuery chooses journal entries. The zero value chooses all.
type JournalQuery struct {
	Subjects    []string // any of these; "" is the site
	Classes     []Class  // any of these
	Alarm       string
	From, To    time.Time // wall times of the entries, To exclusive; zero is open
	After       int64     // only ids above this
	Before      int64     // only ids below this; 0 is open
	NewestFirst bool
	Limit       int // 0 is no limit
}

// A JournalRow is an Entry where it stands in the journal.
type JournalRow struct {
	ID        int64 // order of arrival, over all subjects
	Delivered bool
	Entry
}

// Journal returns the entries q chooses, in the order of arrival.
func (s *Store) Journal(ctx context.Context, q JournalQuery) (rows []JournalRow, err error) {
	err = s.EachJournal(ctx, q, func(row JournalRow) error {
		rows = append(rows, row)
		return nil
	})
	return rows, err
}

// EachJournal gives the entries q chooses to f, one by one, until f gives an
// error, which it returns.
func (s *Store) EachJournal(ctx context.Context, q JournalQuery, f func(JournalRow) error) error {
	where, args := q.where()
	order := " ORDER BY id"
	if q.NewestFirst {
		order += " DESC"
	}
	if q.Limit > 0 {
		order += fmt.Sprint(" LIMIT ", q.Limit)
	}
	return scan(ctx, s.read, "SELECT id, id NOT IN (SELECT id FROM outbox), "+journalColumns+" FROM journal"+where+order, args,
		func(r *sql.Rows) error {
			row, err := scanEntry(r)
			if err != nil {
				return err
			}
			return f(row)
		})
}

func (q JournalQuery) where() (string, []any) {
	var terms []string
	var args []any
	add := func(term string, values ...any) {
		terms, args = append(terms, term), append(args, values...)
	}
	if len(q.Subjects) > 0 {
		add(in("subject", len(q.Subjects)), anys(q.Subjects)...)
	}
	if len(q.Classes) > 0 {
		add(in("class", len(q.Classes)), anys(q.Classes)...)
	}
	if q.Alarm != "" {
		add("alarm = ?", q.Alarm)
	}
	if !q.From.IsZero() {
		add("wall >= ?", millis(q.From))
	}
	if !q.To.IsZero() {
		add("wall < ?", millis(q.To))
	}
	if q.After > 0 {
		add("id > ?", q.After)
	}
	if q.Before > 0 {
		add("id < ?", q.Before)
	}
	if len(terms) == 0 {
		return "", nil
	}
	return " WHERE " + strings.Join(terms, " AND "), args
}

func in(column string, n int) string {
	return column + " IN (?" + strings.Repeat(", ?", n-1) + ")"
}

func anys[T any](values []T) []any {
	out := make([]any, len(values))
	for i, v := range values {
		out[i] = v
	}
	return out
}

func scanEntry(rows *sql.Rows) (r JournalRow, err error) {
	var seq, wall, sinceBoot, occurrence int64
	err = rows.Scan(&r.ID, &r.Delivered, &r.Subject, &seq, &wall, &r.At.Boot, &sinceBoot, &r.At.Synchronized, &r.Class, &r.Alarm, &occurrence, &r.Body)
	r.Seq, r.Occurrence = uint64(seq), uint64(occurrence)
	r.At = instant(wall, r.At.Boot, sinceBoot, r.At.Synchronized)
	return r, err
}
