package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// What lies beside the state file, by what is added to its name. SQLite's own
// log is one of them.
const (
	logSuffix     = "-wal"
	lockSuffix    = ".lock"
	partSuffix    = ".part"      // a file being written, not yet under its name
	suspectSuffix = ".suspect"   // its being there asks the next Open for a full check
	unsavedSuffix = ".unsaved"   // its being there says that the last run could not save at its stop
	reserveSuffix = ".reserve"   // room that is given up when the disk is full
	copySuffix    = ".counters-" // and a digit
	ledgerSuffix  = ".ledger"
	damagedSuffix = ".damaged-" // and the time it was set aside
	beforeSuffix  = ".before-restore-"
)

// keepAside is how many damaged files are kept; the oldest goes first.
const keepAside = 3

// moveInPlace makes part durable under the name path, replacing what was
// there: after a crash path is the old or the new, never a mixture.
func moveInPlace(part, path string) error {
	if err := syncFile(part); err != nil {
		return err
	}
	if err := os.Rename(part, path); err != nil {
		return err
	}
	return syncFile(filepath.Dir(path))
}

func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}

// writeDurably replaces the contents of path.
func writeDurably(path string, b []byte) error {
	part := path + partSuffix
	if err := os.WriteFile(part, b, 0o640); err != nil {
		_ = os.Remove(part)
		return err
	}
	return moveInPlace(part, path)
}

// moveAside renames path and its log so that both still belong together, and
// returns the new name. Nothing at path is not an error.
func moveAside(path, suffix string, now time.Time) (string, error) {
	aside := path + suffix + now.UTC().Format("20060102T150405.000Z")
	for _, s := range []string{"", logSuffix} {
		if err := os.Rename(path+s, aside+s); err != nil && !os.IsNotExist(err) {
			return "", err
		}
	}
	return aside, syncFile(filepath.Dir(path))
}

// thinAside removes all but the newest files that were set aside as damaged.
func thinAside(path string) error {
	found, err := filepath.Glob(escapeGlob(path) + damagedSuffix + "*")
	if err != nil {
		return err
	}
	found = slices.DeleteFunc(found, func(f string) bool { return strings.HasSuffix(f, logSuffix) })
	slices.SortFunc(found, func(a, b string) int { return modified(a).Compare(modified(b)) })
	for len(found) > keepAside {
		for _, s := range []string{"", logSuffix} {
			if err := os.Remove(found[0] + s); err != nil && !os.IsNotExist(err) {
				return fmt.Errorf("remove an old damaged state file: %w", err)
			}
		}
		found = found[1:]
	}
	return nil
}

func escapeGlob(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}

func modified(path string) time.Time {
	info, err := os.Stat(path)
	if err != nil {
		return time.Time{}
	}
	return info.ModTime()
}

// size returns how long the file at path is, 0 when there is none.
func size(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil || !os.IsNotExist(err)
}

// looksForeign reports whether the file at path seems to be something else than
// a damaged state file: no copies lie beside it, and its head is neither ours
// nor blank (a page that flash storage lost reads as zeros or ones). Setting
// aside a file that someone named by mistake would do harm.
func looksForeign(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close() // before SQLite opens it: closing drops locks
	head := make([]byte, 100)
	n, _ := io.ReadFull(f, head)
	_, copied := newestCopy(path)
	if copied != "" || n == 0 {
		return false
	}
	if n == len(head) && string(head[:16]) == "SQLite format 3\x00" {
		// File format, 1.3.18: the application id.
		return binary.BigEndian.Uint32(head[68:]) != applicationID
	}
	blank := bytes.Trim(head[:n], "\x00")
	return len(blank) > 0 && len(bytes.Trim(head[:n], "\xff")) > 0
}

// filePermissions are the state file's: it holds who did what.
const filePermissions fs.FileMode = 0o640
