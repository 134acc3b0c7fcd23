package store

import (
	"context"
	"database/sql"
	"fmt"
	"hash/crc32"
	"strings"
)

// salvaged lists the tables worth reading from a damaged file, and the rows:
// all but history and the delivered journal.
var salvaged = []struct{ table, columns, where string }{
	{"meta", "key, value", "key NOT LIKE 'store.%'"},
	{"state", "subject, version, crc, body", "TRUE"},
	{"ledger", "key, subject, wall, boot, since_boot, synchronized, body", "TRUE"},
	{"topic", "topic", "TRUE"},
	{"command", "id", "TRUE"},
	{"journal", "id, " + journalColumns, "id IN (SELECT id FROM outbox)"},
	{"outbox", "id, class", "TRUE"},
}

// salvage copies rows for as long as the damaged file gives them, from the
// front and then from the back, and returns its counters if they are good.
// Nothing it meets there is an error: it is known to be damaged.
func salvage(ctx context.Context, tx *tx, rec *Recovery) counterRow {
	old, err := sql.Open("sqlite", address(rec.SetAside, readerPragmas))
	if err != nil {
		return counterRow{}
	}
	defer old.Close()
	rec.Salvaged = map[string]int{}
	for _, t := range salvaged {
		for _, order := range []string{"", " ORDER BY 1 DESC"} {
			q := fmt.Sprintf("SELECT %s FROM %s WHERE %s%s", t.columns, t.table, t.where, order)
			into := fmt.Sprintf("INSERT OR IGNORE INTO %s (%s) VALUES (?%s)", t.table, t.columns, strings.Repeat(", ?", strings.Count(t.columns, ",")))
			rec.Salvaged[t.table] += copyRows(ctx, old, q, tx, into)
		}
	}
	// An entry of the outbox whose journal row is lost, or a state that is not
	// what was written, would only do harm.
	tx.exec("DELETE FROM outbox WHERE id NOT IN (SELECT id FROM journal)")
	dropBadStates(ctx, tx)
	row, err := countersFrom(ctx, old, rec.SetAside)
	if err != nil {
		return counterRow{}
	}
	return row
}

func copyRows(ctx context.Context, from querier, q string, tx *tx, into string) (copied int) {
	rows, err := from.QueryContext(ctx, q)
	if err != nil {
		return 0
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return 0
	}
	values, targets := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		targets[i] = &values[i]
	}
	for rows.Next() {
		if rows.Scan(targets...) != nil {
			break
		}
		copied += int(tx.try(into, values...))
	}
	return copied
}

func dropBadStates(ctx context.Context, tx *tx) {
	rows, err := tx.conn.QueryContext(ctx, "SELECT subject, crc, body FROM state")
	if err != nil {
		return
	}
	var bad []string
	for rows.Next() {
		var subject string
		var crc uint32
		var body []byte
		if rows.Scan(&subject, &crc, &body) != nil || crc32.Checksum(body, castagnoli) != crc {
			bad = append(bad, subject)
		}
	}
	rows.Close()
	for _, subject := range bad {
		tx.exec("DELETE FROM state WHERE subject = ?", subject)
	}
}
