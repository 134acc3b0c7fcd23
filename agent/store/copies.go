package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"strconv"

	"pumpside/drivers"
)

// counterCopies is how many copies of the counters row lie beside the state
// file. Each save of a copy replaces the oldest.
const counterCopies = 4

func copyPath(path string, i int) string { return path + copySuffix + strconv.Itoa(i) }

// readCopy returns the i-th copy beside path, or false when there is no good one.
func readCopy(path string, i int) (counterRow, bool) {
	b, err := os.ReadFile(copyPath(path, i))
	if err != nil {
		return counterRow{}, false
	}
	r, err := unpackCounters(b)
	return r, err == nil
}

// newestCopy returns the newest good copy of the counters beside path and its
// name; "" when there is none.
func newestCopy(path string) (newest counterRow, name string) {
	for i := range counterCopies {
		if r, ok := readCopy(path, i); ok && (name == "" || r.Save > newest.Save) {
			newest, name = r, copyPath(path, i)
		}
	}
	return newest, name
}

// oldestCopy returns the name of the copy to replace next: one that is missing
// or not good, else the oldest.
func oldestCopy(path string) (name string) {
	var oldest uint64
	for i := range counterCopies {
		r, ok := readCopy(path, i)
		if !ok {
			return copyPath(path, i)
		}
		if name == "" || r.Save < oldest {
			oldest, name = r.Save, copyPath(path, i)
		}
	}
	return name
}

// ledgerLine is a LedgerEntry as a line of the ledger's copy: eight hex digits
// of CRC-32C, a space, this as JSON.
type ledgerLine struct {
	Key     string          `json:"key"`
	Subject string          `json:"subject"`
	At      drivers.Instant `json:"at"`
	Body    []byte          `json:"body"` // base64: bytes as they were
}

// copyLedger brings the ledger's copy up to date. The ledger is the one thing
// that counters cannot tell again, and it changes a few times a month.
func (s *Store) copyLedger(ctx context.Context) error {
	entries, err := s.ledgerFrom(ctx, s.conn)
	if err != nil {
		return fmt.Errorf("copy ledger: %w", err)
	}
	var b bytes.Buffer
	for _, e := range entries {
		line, err := json.Marshal(ledgerLine(e))
		if err != nil {
			return fmt.Errorf("copy ledger: %w", err)
		}
		fmt.Fprintf(&b, "%08x %s\n", crc32.Checksum(line, castagnoli), line)
	}
	name := s.path + ledgerSuffix
	if old, err := os.ReadFile(name); err == nil && bytes.Equal(old, b.Bytes()) || b.Len() == 0 && os.IsNotExist(err) {
		return nil
	}
	if err := writeDurably(name, b.Bytes()); err != nil {
		return fmt.Errorf("copy ledger: %w", err)
	}
	return nil
}

// readLedgerCopy returns the good lines of the copy beside path, and how many
// were not.
func readLedgerCopy(path string) (entries []LedgerEntry, bad int) {
	b, err := os.ReadFile(path + ledgerSuffix)
	if err != nil {
		return nil, 0
	}
	for line := range bytes.Lines(b) {
		e, err := parseLedgerLine(line)
		if err != nil {
			bad++
			continue
		}
		entries = append(entries, e)
	}
	return entries, bad
}

func parseLedgerLine(line []byte) (LedgerEntry, error) {
	sum, text, _ := bytes.Cut(bytes.TrimSuffix(line, []byte("\n")), []byte(" "))
	want, err := strconv.ParseUint(string(sum), 16, 32)
	if err != nil || uint32(want) != crc32.Checksum(text, castagnoli) {
		return LedgerEntry{}, errors.New("ledger line: checksum does not match")
	}
	var l ledgerLine
	if err := json.Unmarshal(text, &l); err != nil {
		return LedgerEntry{}, fmt.Errorf("ledger line: %w", err)
	}
	return LedgerEntry(l), nil
}
