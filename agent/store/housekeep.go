package store

import (
	"cmp"
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sys/unix"
)

// pruneEvery is how often the Writer looks for what is too old or too much;
// pruneRows and pruneBlocks bound one look, so that no commit waits long.
const (
	pruneEvery  = 10 * time.Minute
	pruneRows   = 1000
	pruneBlocks = 250
)

// housekeep does what may be late: copies beside the file, and pruning.
func (w *Writer) housekeep(now time.Time) {
	if now.Sub(w.lastCopy) >= w.opts.CopyEvery || !w.ledgerDone {
		w.copies(now)
	}
	failed := w.Status().Err
	if IsDiskFull(failed) {
		// Once the log is in the file, it is written from its start again and
		// needs no room of its own. The file may have to grow for that.
		w.store.giveUpReserve()
		w.store.checkpoint()
	} else if failed != nil {
		return
	}
	if failed != nil || w.backlog || now.Sub(w.lastPrune) >= pruneEvery {
		w.lastPrune = now
		if failed == nil {
			w.store.makeReserve()
		}
		w.prune(IsDiskFull(failed))
	}
}

// copies puts the counters and the ledger beside the file. A failure shows in
// the next commit too, if it matters: the copies are on the same disk.
func (w *Writer) copies(now time.Time) {
	w.mu.Lock()
	save := w.saves
	packed := counterRow{Save: save, At: now, Of: w.counters}.pack(nil)
	some := len(w.counters) > 0
	w.mu.Unlock()
	if some && now.Sub(w.lastCopy) >= w.opts.CopyEvery {
		if writeDurably(oldestCopy(w.store.path), packed) != nil {
			return
		}
	}
	w.lastCopy = now
	w.ledgerDone = w.store.copyLedger(context.Background()) == nil
}

// prune removes what is too old or too much, in a transaction of its own. full:
// the last commit found no room, however small the file is.
func (w *Writer) prune(full bool) {
	w.mu.Lock()
	need := int64(w.next.bytes)
	w.mu.Unlock()
	t := begin(context.Background(), w.store.conn)
	removed := t.pruneJournal(w.opts) + t.pruneHistory(w.opts) + t.pruneSize(w.opts, w.store.sizeLimit(), need)
	if full && removed == 0 {
		removed = t.makeRoom(w.opts, need)
	}
	if removed == 0 && t.err == nil {
		t.exec("ROLLBACK")
		w.backlog = false
		return
	}
	w.backlog = t.end() == nil
}

// cutoff returns the wall time before which things of that age lie, or false
// when the clock cannot be trusted.
func (o Options) cutoff(age time.Duration) (int64, bool) {
	if o.Now == nil {
		return 0, false
	}
	now := o.Now()
	return millis(now.Wall.Add(-age)), now.Synchronized
}

// pruneJournal removes the oldest entries beyond the limit, and those too old.
// An entry stamped by an unset clock has no age: it goes with the first
// later one that has. The newest entry stays, so that ids go on rising; what
// is undelivered stays too, its number has its own limit.
func (t *tx) pruneJournal(o Options) int64 {
	newest := t.one("SELECT coalesce(max(id), 0) FROM journal")
	upTo := newest - int64(o.JournalRows)
	if before, ok := o.cutoff(o.JournalAge); ok {
		young := t.one("SELECT coalesce((SELECT id FROM journal WHERE synchronized AND wall >= ? ORDER BY id LIMIT 1), ?)", before, newest)
		old := t.one("SELECT coalesce(max(id), 0) FROM journal WHERE id < ? AND synchronized AND wall < ?", young, before)
		upTo = max(upTo, old)
	}
	return t.exec(`DELETE FROM journal WHERE id IN (SELECT id FROM journal WHERE id <= ? AND id < ?
		AND id NOT IN (SELECT id FROM outbox) ORDER BY id LIMIT ?)`, upTo, newest, pruneRows)
}

// noClock is the wall time below which a stamp only shows that a clock was
// not set: no block of history is from before 2020.
var noClock = millis(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC))

// pruneHistory removes blocks too old for their kind; one stamped by an unset
// clock goes with the first later one that has an age. Then it removes the
// oldest of kinds whose number is limited.
func (t *tx) pruneHistory(o Options) (removed int64) {
	for _, kind := range t.kinds() {
		if before, ok := o.cutoff(o.historyAge(kind)); ok {
			removed += t.exec(`DELETE FROM history WHERE id IN (SELECT id FROM history WHERE kind = ?1 AND stop < ?2 AND id <=
				(SELECT max(id) FROM history WHERE kind = ?1 AND stop < ?2 AND stop >= ?3) ORDER BY id LIMIT ?4)`, kind, before, noClock, pruneBlocks)
		}
	}
	for kind, most := range o.HistoryMost {
		removed += t.exec(`DELETE FROM history WHERE id IN (SELECT id FROM (SELECT id, row_number() OVER (PARTITION BY subject ORDER BY id DESC) AS place
			FROM history WHERE kind = ?1) WHERE place > ?2 LIMIT ?3)`, kind, most, pruneBlocks)
	}
	return removed
}

func (t *tx) kinds() (kinds []string) {
	if t.err != nil {
		return nil
	}
	rows, err := t.conn.QueryContext(t.ctx, "SELECT DISTINCT kind FROM history")
	if err != nil {
		t.err = err
		return nil
	}
	defer rows.Close()
	for rows.Next() {
		var kind string
		if t.err = rows.Scan(&kind); t.err != nil {
			return nil
		}
		kinds = append(kinds, kind)
	}
	t.err = rows.Err()
	return kinds
}

// reserveBytes are enough to move the log into the file, and to write which
// blocks of history were removed.
const reserveBytes = 2 << 20

// makeReserve takes room that giveUpReserve can give back, where there is plenty.
func (s *Store) makeReserve() {
	path := s.path + reserveSuffix
	if size(path) >= reserveBytes || s.free() < 4*reserveBytes {
		return
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, filePermissions)
	if err != nil {
		return
	}
	// A file system that cannot take room without writing goes without.
	err = unix.Fallocate(int(f.Fd()), 0, 0, reserveBytes)
	if f.Close() != nil || err != nil {
		_ = os.Remove(path)
	}
}

func (s *Store) giveUpReserve() { _ = os.Remove(s.path + reserveSuffix) }

// free is how many bytes the disk has room for, or as good as any number when
// that is not known.
func (s *Store) free() int64 {
	var f unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(s.path), &f); err != nil {
		return math.MaxInt64 / 2
	}
	return int64(min(f.Bavail, math.MaxInt64/2/uint64(max(f.Bsize, 1)))) * int64(f.Bsize)
}

// sizeLimit is how large the file may grow now: to its limit, or to what the
// disk has room for.
func (s *Store) sizeLimit() int64 { return min(s.opts.FileLimit, size(s.path)+s.free()) }

// pruneSize removes the oldest history, and when there is none left the oldest
// delivered journal, when what is there and the bytes that wait need more than
// nine tenths of the limit.
func (t *tx) pruneSize(o Options, limit, need int64) int64 {
	used := t.one("SELECT page_count - freelist_count FROM pragma_page_count, pragma_freelist_count") * pageSize
	if used+need <= limit/10*9 {
		return 0
	}
	if n := t.dropHistory(o); n > 0 {
		return n
	}
	return t.exec(`DELETE FROM journal WHERE id IN (SELECT id FROM journal WHERE id NOT IN (SELECT id FROM outbox)
		AND id < (SELECT max(id) FROM journal) ORDER BY id LIMIT ?)`, pruneRows)
}

// roomWithin is how many bytes within the file are enough for some commits.
const roomWithin = 256 << 10

// makeRoom removes the oldest history when a commit found no room, unless there
// is room within the file: then it is the log that finds none, and no history
// that is given up helps.
func (t *tx) makeRoom(o Options, need int64) int64 {
	if t.one("SELECT freelist_count FROM pragma_freelist_count")*pageSize >= need+roomWithin {
		return 0
	}
	return t.dropHistory(o)
}

// dropHistory removes the oldest blocks of the kind that is kept the shortest:
// minutes are worth less than hours and captures.
func (t *tx) dropHistory(o Options) int64 {
	kinds := t.kinds()
	slices.SortStableFunc(kinds, func(a, b string) int { return cmp.Compare(o.historyAge(a), o.historyAge(b)) })
	for _, kind := range kinds {
		if n := t.exec("DELETE FROM history WHERE id IN (SELECT id FROM history WHERE kind = ? ORDER BY stop LIMIT ?)", kind, pruneBlocks); n > 0 {
			return n
		}
	}
	return 0
}
