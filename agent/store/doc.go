// Package store keeps what the agent must not forget in one SQLite file.
//
// Four types carry it. A [Store] is the open file and answers queries. A
// [ChangeSet] is what one step of one pump, or of the site, changed. A
// [Writer] commits the change sets of all pumps together, before anything is
// sent. A [Recovery] says what was found at opening, so that an alarm can.
//
// The store knows nothing of rules. It keeps bytes, with the columns needed to
// find them again; a subject is a pump's name, or "" for the site.
//
// # Durability
//
// The file is in WAL mode with synchronous=FULL: when [Writer.Put] returns
// nil, the change set survives kill -9 and loss of power. When the disk is
// full, fails or is slow, Put says so within its timeout, the change set stays
// in memory (bounded), and the Writer tries again. [Writer.Keep] is for what
// may wait for the next commit: counters on every beat, the hourly state, a
// closed block of history.
//
// The outbox is the undelivered part of the journal. [Writer.Pending] gives
// it in the order of the journal, with the entries the store could not take at
// its end. A crash can make an entry be delivered twice, never lost.
//
// # Flash
//
// A quiet minute writes one row, that of all pumps' counters, over the same
// pages as the minute before. Pages are 1 KB, not SQLite's usual 4 KB: a
// commit then dirties one or two pages of the operating system instead of two
// or three. The wal-index lives on the heap (SQLite's unix-excl VFS): its
// usual file, mapped into memory, would be written back every minute as well.
// Commits use fdatasync, which leaves the file's times alone; on ext4 the mount
// option lazytime keeps those from the flash too.
//
// # Caveats
//
//   - While the agent runs no other process can open the file, not even to
//     read it. Take a copy with [Store.Backup] and look at that.
//   - A lock file and some small copies live beside the state file: see
//     [Open]. Whoever wants to start from nothing moves all of them away.
//   - Opening the state file with os.Open and closing it again drops the locks
//     SQLite holds on it. Nobody does.
package store
