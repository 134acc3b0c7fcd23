package store

import (
	"time"

	"pumpside/drivers"
)

// A ChangeSet is what one step changed, committed whole or not at all. Empty
// fields change nothing. The Writer keeps the slices it is given, save for
// Counters, which it copies: do not change them afterwards.
type ChangeSet struct {
	Subject  string // whose State and Counters these are: a pump's name, "" for the site
	State    State  // the whole state; a nil Body leaves the stored one
	Counters []byte // the pump's packed counters, best under 200 bytes; nil leaves them

	Journal  []Entry
	History  []Block
	Ledger   []LedgerEntry
	Commands []string          // ids of commands now carried out or refused
	Topics   []string          // retained MQTT topics that now hold something
	Cleared  []string          // retained MQTT topics that now hold nothing
	Meta     map[string]string // named values; "" removes one
}

// A State is a subject's state as its owner wrote it.
type State struct {
	Version int    // of Body's layout; the owner's business
	Body    []byte // JSON
}

// A Class orders journal entries for the outbox: when it is full the highest
// class goes first. The rules' alarm, advisory and record are 0, 1 and 2.
type Class uint8

// Classes is how many classes are counted apart. A higher one counts as the last.
const Classes = 3

// An Entry is one row of the journal.
type Entry struct {
	Subject    string // a pump's name, "" for the site
	Seq        uint64 // counts per subject, from 1; with Subject it is the key
	At         drivers.Instant
	Class      Class
	Alarm      string // the alarm's name, "" when it is about none
	Occurrence uint64 // which raise of that alarm
	Body       []byte // JSON: the whole event
}

// A Key names a journal entry within a stream.
type Key struct {
	Subject string
	Seq     uint64
}

// Key returns the key of e.
func (e Entry) Key() Key { return Key{e.Subject, e.Seq} }

// A Block is a closed piece of history. A second one with the same Subject,
// Kind and Start replaces the first.
type Block struct {
	Subject     string
	Kind        string    // which series, such as "1m"
	Start, Stop time.Time // wall times, Stop exclusive; kept in whole milliseconds
	Body        []byte    // in any encoding; kept compressed where that is smaller
}

// A LedgerEntry is one line of the service ledger. Lines are never changed
// nor removed.
type LedgerEntry struct {
	Key     string // unique; a second line with the same key is ignored
	Subject string
	At      drivers.Instant
	Body    []byte // JSON
}
