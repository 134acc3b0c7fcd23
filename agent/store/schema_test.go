package store

import (
	"errors"
	"fmt"
	"testing"
)

// later is the schema as a later program might have it.
var later = append(append([]step(nil), schema...),
	step{2, "CREATE TABLE note (text TEXT)"},
	step{3, "INSERT INTO note VALUES ('from step 3'); UPDATE meta SET value = 'def' WHERE key = 'config_hash'"},
)

func TestAnOlderFileIsTakenForwardAndACopyIsKept(t *testing.T) {
	path := stateFile(t)
	stream := lived(t, path)
	s, rec, err := open(path, Options{}, later)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if rec.MigratedFrom != 1 || rec.KeptCopy != path+".schema-1" || rec.Damage != nil {
		t.Errorf("recovery = %+v", rec)
	}
	var note string
	if err := s.conn.QueryRowContext(t.Context(), "SELECT text FROM note").Scan(&note); err != nil || note != "from step 3" {
		t.Errorf("note = %q, %v", note, err)
	}
	if hash, err := s.Meta(t.Context(), "config_hash"); err != nil || hash != "def" || s.StreamID() != stream {
		t.Errorf("config hash = %q, %v; stream %q, was %q", hash, err, s.StreamID(), stream)
	}
	before, found := mustOpen(t, rec.KeptCopy, Options{})
	if hash, err := before.Meta(t.Context(), "config_hash"); err != nil || hash != "abc" || found.Damage != nil {
		t.Errorf("the copy has config hash %q, %v; %+v", hash, err, found)
	}
}

func TestAStepThatFailsLeavesTheFileAsItWas(t *testing.T) {
	path := stateFile(t)
	lived(t, path)
	broken := append(append([]step(nil), later...), step{4, "INSERT INTO note VALUES ('half'); INSERT INTO no_such_table VALUES (1)"})
	_, rec, err := open(path, Options{}, broken)
	want := fmt.Sprintf("open state file %q: take state file %q to schema 4: SQL logic error: no such table: no_such_table (1)", path, path)
	if err == nil || err.Error() != want || rec.KeptCopy == "" {
		t.Errorf("error\n got %v\nwant %s", err, want)
	}
	s, _, err := open(path, Options{}, later)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var notes int
	if err := s.conn.QueryRowContext(t.Context(), "SELECT count(*) FROM note").Scan(&notes); err != nil || notes != 1 {
		t.Errorf("%d notes, %v: half a step was kept", notes, err)
	}
}

func TestANewerFileIsRefused(t *testing.T) {
	path := stateFile(t)
	lived(t, path)
	if err := withRaw(path, "PRAGMA user_version = 7"); err != nil {
		t.Fatal(err)
	}
	_, _, err := Open(path, Options{})
	var newer *NewerSchemaError
	want := fmt.Sprintf(`state file %q has schema 7, this program knows up to 1: use the newer program, or restore the copy it kept beside the file before it changed the schema`, path)
	if !errors.As(err, &newer) || newer.Error() != want {
		t.Errorf("error\n got %v\nwant %s", err, want)
	}
	if _, err := Restore(stateFile(t), path); !errors.As(err, &newer) {
		t.Errorf("Restore = %v", err)
	}
}
