package store

import (
	"errors"
	"fmt"
	"maps"
	"slices"
)

// A put is one call of Put while its change set is on the way into the file.
type put struct {
	done     chan error // room for one: the answer, when someone still waits
	told     bool       // its caller knows that it is not stored: its entries go out from memory
	lost     bool       // some of it fell out of memory
	repeated error      // ErrRepeatedSeq, with the key
}

// answer is what the caller is told once the commit has ended with err.
func (p *put) answer(err error) error {
	switch {
	case p.lost:
		return errors.Join(ErrLost, err)
	case err != nil:
		return fmt.Errorf("%w: %w", ErrNotStored, err)
	}
	return p.repeated
}

// A queuedEntry is a journal entry on its way, and the Put that brought it;
// nil for one that came by Keep.
type queuedEntry struct {
	Entry
	by *put
}

type queuedBlock struct {
	Block
	by *put
}

// A batch is what one commit writes: change sets run together, so that a state
// written twice costs once.
type batch struct {
	states   map[string]State
	meta     map[string]string
	topics   map[string]bool // true: holds something
	journal  []queuedEntry
	history  []queuedBlock
	ledger   []LedgerEntry
	commands []string
	puts     []*put
	bytes    int // of journal and history
}

// overhead is what an entry or a block takes in memory beside its body.
const overhead = 256

func (e Entry) weight() int { return overhead + len(e.Body) }
func (b Block) weight() int { return overhead + len(b.Body) }

// add puts c behind what b holds. by is nil for what nobody waits for.
func (b *batch) add(c ChangeSet, by *put) {
	if by != nil {
		b.puts = append(b.puts, by)
	}
	if c.State.Body != nil {
		set(&b.states, c.Subject, c.State)
	}
	for k, v := range c.Meta {
		set(&b.meta, k, v)
	}
	for _, t := range c.Topics {
		set(&b.topics, t, true)
	}
	for _, t := range c.Cleared {
		set(&b.topics, t, false)
	}
	for _, e := range c.Journal {
		e.Class = min(e.Class, Classes-1)
		b.journal = append(b.journal, queuedEntry{e, by})
		b.bytes += e.weight()
	}
	for _, h := range c.History {
		b.history = append(b.history, queuedBlock{h, by})
		b.bytes += h.weight()
	}
	b.ledger = append(b.ledger, c.Ledger...)
	b.commands = append(b.commands, c.Commands...)
}

func set[V any](m *map[string]V, key string, value V) {
	if *m == nil {
		*m = map[string]V{}
	}
	(*m)[key] = value
}

// follow puts a later batch behind b.
func (b *batch) follow(later *batch) {
	b.states = merged(b.states, later.states)
	b.meta = merged(b.meta, later.meta)
	b.topics = merged(b.topics, later.topics)
	b.journal = append(b.journal, later.journal...)
	b.history = append(b.history, later.history...)
	b.ledger = append(b.ledger, later.ledger...)
	b.commands = append(b.commands, later.commands...)
	b.puts = append(b.puts, later.puts...)
	b.bytes += later.bytes
}

func merged[V any](old, later map[string]V) map[string]V {
	if old == nil {
		return later
	}
	maps.Copy(old, later)
	return old
}

// empty reports whether a commit of b would change nothing and answer nobody.
func (b *batch) empty() bool {
	return len(b.states) == 0 && len(b.meta) == 0 && len(b.topics) == 0 && len(b.journal) == 0 &&
		len(b.history) == 0 && len(b.ledger) == 0 && len(b.commands) == 0 && len(b.puts) == 0
}

// shrink drops what can best be missed until b takes no more than limit bytes:
// the oldest history, then the oldest entries of the highest class. States are
// one per subject, ledger lines are few and dear: they stay. It returns what
// was dropped.
func (b *batch) shrink(limit int) (blocks int, entries [Classes]int) {
	for b.bytes > limit && len(b.history) > 0 {
		b.drop(b.history[0].weight(), b.history[0].by)
		b.history = b.history[1:]
		blocks++
	}
	for class := Classes - 1; class >= 0 && b.bytes > limit; class-- {
		b.journal = slices.DeleteFunc(b.journal, func(q queuedEntry) bool {
			if b.bytes <= limit || int(q.Class) != class {
				return false
			}
			b.drop(q.weight(), q.by)
			entries[class]++
			return true
		})
	}
	return blocks, entries
}

func (b *batch) drop(weight int, by *put) {
	b.bytes -= weight
	if by != nil {
		by.lost = true
	}
}

// tell answers every Put that waits. After an error its entries go out from
// memory.
func (b *batch) tell(err error) {
	for _, p := range b.puts {
		p.told = p.told || err != nil
		p.done <- p.answer(err)
	}
	b.puts = nil
}
