package store

import (
	"context"
	"fmt"
	"strconv"
	"time"
)

// commit writes b, the counters row and the marks of what was delivered, all
// or nothing. It returns what the outbox holds afterwards.
func (s *Store) commit(b *batch, counters []byte, marks []Key, o Options) (after Status, err error) {
	t := begin(context.Background(), s.conn)
	t.exec("DELETE FROM meta WHERE key = ?", metaRestored)
	if counters != nil {
		t.exec("INSERT INTO counters (id, packed) VALUES (1, ?) ON CONFLICT DO UPDATE SET packed = excluded.packed", counters)
	}
	for subject, st := range b.states {
		t.setState(subject, st)
	}
	for key, value := range b.meta {
		t.setMeta(key, value)
	}
	for topic, holds := range b.topics {
		t.setTopic(topic, holds)
	}
	t.insertJournal(b.journal, o.OutboxLimit >= 0)
	for _, h := range b.history {
		t.insertBlock(h.Block)
	}
	for _, l := range b.ledger {
		t.insertLedger(l)
	}
	t.insertCommands(b.commands, o.CommandsSeen)
	for _, k := range marks {
		t.exec("DELETE FROM outbox WHERE id = (SELECT id FROM journal WHERE subject = ? AND seq = ?)", k.Subject, int64(k.Seq))
	}
	if len(b.journal) > 0 {
		t.boundOutbox(o.OutboxLimit)
	}
	t.readStatus(&after)
	return after, t.end()
}

func (t *tx) setTopic(topic string, holds bool) {
	if holds {
		t.exec("INSERT INTO topic (topic) VALUES (?) ON CONFLICT DO NOTHING", topic)
		return
	}
	t.exec("DELETE FROM topic WHERE topic = ?", topic)
}

// insertJournal leaves an entry whose key is taken as it was, and tells the Put
// that brought another one.
func (t *tx) insertJournal(entries []queuedEntry, outbox bool) {
	for _, q := range entries {
		id := t.insertEntry(q.Entry)
		switch {
		case id != 0 && outbox:
			t.exec("INSERT INTO outbox (id, class) VALUES (?, ?)", id, q.Class)
		case id == 0 && !t.sameEntry(q.Entry) && q.by != nil:
			q.by.repeated = fmt.Errorf("%w: subject %q seq %d", ErrRepeatedSeq, q.Subject, q.Seq)
		}
	}
}

func (t *tx) insertCommands(ids []string, limit int) {
	for _, id := range ids {
		t.exec("INSERT INTO command (id) VALUES (?) ON CONFLICT DO NOTHING", id)
	}
	if len(ids) > 0 {
		t.exec("DELETE FROM command WHERE n <= (SELECT max(n) FROM command) - ?", limit)
	}
}

// boundOutbox drops the oldest entries of the highest class until no more than
// limit are left, and counts them. The journal keeps them.
func (t *tx) boundOutbox(limit int) {
	over := t.one("SELECT count(*) FROM outbox") - int64(limit)
	if limit < 0 || over <= 0 {
		return
	}
	for class := Classes - 1; class >= 0 && over > 0; class-- {
		dropped := t.exec("DELETE FROM outbox WHERE id IN (SELECT id FROM outbox WHERE class = ? ORDER BY id LIMIT ?)", class, over)
		over -= dropped
		if dropped > 0 {
			t.exec("INSERT INTO meta (key, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = value + excluded.value",
				metaDropped+strconv.Itoa(class), dropped)
		}
	}
}

// readStatus reads what is known of the outbox and the file.
func (t *tx) readStatus(s *Status) {
	s.OutboxMessages = int(t.one("SELECT count(*) FROM outbox"))
	s.OutboxOldest = time.Time{}
	if s.OutboxMessages > 0 {
		s.OutboxOldest = fromMillis(t.one("SELECT coalesce((SELECT wall FROM journal WHERE id = (SELECT min(id) FROM outbox)), 0)"))
	}
	for class := range s.OutboxDropped {
		s.OutboxDropped[class] = uint64(t.one("SELECT coalesce((SELECT value FROM meta WHERE key = ?), 0)", metaDropped+strconv.Itoa(class)))
	}
	pages := t.one("SELECT page_count - freelist_count FROM pragma_page_count, pragma_freelist_count")
	s.FileBytes = pages * pageSize
}
