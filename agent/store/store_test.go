package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestWhatIsPutIsThereAfterClosingAndOpening(t *testing.T) {
	path := stateFile(t)
	s := start(t, path, Options{})
	if !s.Found.Created || s.Found.Unclean {
		t.Errorf("a new file is found as %+v", s.Found)
	}
	block := Block{Subject: "pump-1", Kind: "1m", Start: noon, Stop: noon.Add(6 * time.Hour), Body: []byte("aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa")}
	line := LedgerEntry{Key: "1", Subject: "pump-1", At: at(noon), Body: []byte(`{"task":"oil"}`)}
	s.put(t, ChangeSet{
		Subject: "pump-1", State: State{Version: 3, Body: []byte(`{"a":1}`)}, Counters: []byte{1, 2, 3},
		Journal: []Entry{entry("pump-1", 1, 0), entry("pump-1", 2, 1)},
		History: []Block{block}, Ledger: []LedgerEntry{line}, Commands: []string{"c-1"},
		Topics: []string{"p/1/alarm/x", "p/1/alarm/y"}, Meta: map[string]string{"config_hash": "abc"},
	})
	s.put(t, ChangeSet{Cleared: []string{"p/1/alarm/x"}, Counters: []byte("site")})
	stream := s.StreamID()
	s.end(t)

	o, rec := mustOpen(t, path, Options{})
	if diff := cmp.Diff(Recovery{}, rec); diff != "" {
		t.Errorf("recovery after a clean stop (-want +got):\n%s", diff)
	}
	if o.StreamID() != stream || len(stream) < 20 {
		t.Errorf("stream id %q, was %q", o.StreamID(), stream)
	}
	ctx := t.Context()
	check := func(what string, got any, err error, want any) {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", what, diff)
		}
	}
	states, err := o.States(ctx)
	check("states", states, err, map[string]State{"pump-1": {3, []byte(`{"a":1}`)}})
	counters, _, err := o.Counters(ctx)
	check("counters", counters, err, map[string][]byte{"pump-1": {1, 2, 3}, "": []byte("site")})
	journal, err := o.Journal(ctx, JournalQuery{})
	check("journal", journal, err, []JournalRow{{1, false, entry("pump-1", 1, 0)}, {2, false, entry("pump-1", 2, 1)}})
	history, err := o.History(ctx, "pump-1", "1m", noon, noon.Add(time.Second))
	check("history", history, err, []Block{block})
	ledger, err := o.Ledger(ctx)
	check("ledger", ledger, err, []LedgerEntry{line})
	topics, err := o.Topics(ctx)
	check("topics", topics, err, []string{"p/1/alarm/y"})
	hash, err := o.Meta(ctx, "config_hash")
	check("meta", hash, err, "abc")
	seen, err := o.Seen(ctx, "c-1")
	check("a command seen", seen, err, true)
	seen, err = o.Seen(ctx, "c-2")
	check("a command not seen", seen, err, false)
	seq, err := o.LastSeq(ctx, "pump-1")
	check("last seq", seq, err, uint64(2))
	seq, err = o.LastSeq(ctx, "pump-9")
	check("last seq of a stranger", seq, err, uint64(0))
}

func TestASecondAgentIsRefusedAndToldByWhom(t *testing.T) {
	path := stateFile(t)
	mustOpen(t, path, Options{})
	_, _, err := Open(path, Options{})
	want := fmt.Sprintf("state file %q is in use by process %d", path, os.Getpid())
	if err == nil || err.Error() != want {
		t.Errorf("error\n got %v\nwant %s", err, want)
	}
	var locked *LockedError
	if !errors.As(err, &locked) || locked.PID != os.Getpid() {
		t.Errorf("%v is no LockedError with our pid", err)
	}
}

func TestFilesThatAreNotOursAreLeftAlone(t *testing.T) {
	text := []byte("site:\n  name: north\n# this configuration file is longer than the head of a database file, which has 100 bytes\n")
	tests := []struct {
		name string
		make func(path string) error
	}{
		{"a configuration file named by mistake", func(path string) error { return os.WriteFile(path, text, 0o600) }},
		{"another program's database", func(path string) error { return makeForeign(path) }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := stateFile(t)
			if err := tt.make(path); err != nil {
				t.Fatal(err)
			}
			before, _ := os.ReadFile(path)
			_, _, err := Open(path, Options{})
			want := fmt.Sprintf("%q is not a state file, and was left as it is", path)
			var foreign *ForeignFileError
			if !errors.As(err, &foreign) || foreign.Error() != want {
				t.Errorf("error\n got %v\nwant %s", err, want)
			}
			if after, _ := os.ReadFile(path); !cmp.Equal(before, after) {
				t.Error("the file was changed")
			}
		})
	}
}

func makeForeign(path string) error {
	return withRaw(path, "CREATE TABLE invoice (id INTEGER PRIMARY KEY); PRAGMA application_id = 7")
}

func TestLedgerLinesCannotBeChangedOrRemoved(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	s.put(t, ChangeSet{Ledger: []LedgerEntry{{Key: "a", Body: []byte("{}")}, {Key: "a", Body: []byte(`{"again":1}`)}}})
	for _, q := range []string{"UPDATE ledger SET body = ''", "DELETE FROM ledger"} {
		if _, err := s.conn.ExecContext(context.Background(), q); err == nil {
			t.Errorf("%s went through", q)
		}
	}
	got, err := s.Ledger(t.Context())
	if err != nil || len(got) != 1 || string(got[0].Body) != "{}" {
		t.Errorf("ledger = %+v, %v", got, err)
	}
}

func TestAMissingDirectoryIsNamed(t *testing.T) {
	folder := t.TempDir() + "/no/such/place"
	_, _, err := Open(folder+"/state.db", Options{})
	if want := fmt.Sprintf("there is no folder %q: make the folder, or set store: {path: …}", folder); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("err = %v, want that %s", err, want)
	}
}
