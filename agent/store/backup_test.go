package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestABackupTakenWhileWritingIsOneMoment(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	stop := make(chan struct{})
	done := make(chan error, 1)
	go func() {
		for seq := uint64(1); ; seq++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			if err := s.Put(context.Background(), numbered("pump-1", seq)); err != nil {
				done <- err
				return
			}
		}
	}()
	waitFor(t, "some commits", func() bool { return s.Status().Commits > 20 })
	to := filepath.Join(t.TempDir(), "copy.db")
	if err := os.WriteFile(to, []byte("an older backup"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	inspect(t, to, map[string]uint64{"pump-1": 20}, nil)
}

func TestRestoreGoesBackUnderANewStream(t *testing.T) {
	ctx := t.Context()
	path, copied := stateFile(t), filepath.Join(t.TempDir(), "copy.db")
	s := start(t, path, Options{})
	s.put(t, numbered("pump-1", 1))
	if err := s.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	s.put(t, numbered("pump-1", 2))
	stream := s.StreamID()
	var locked *LockedError
	if _, err := Restore(path, copied); !errors.As(err, &locked) {
		t.Errorf("restoring under a running agent: %v", err)
	}
	s.end(t)

	aside, err := Restore(path, copied)
	if err != nil || !strings.HasPrefix(aside, path+".before-restore-") {
		t.Fatalf("Restore = %q, %v", aside, err)
	}
	r := start(t, path, Options{})
	if r.StreamID() == stream || r.StreamID() == "" || r.Found.Restored == "" || r.Found.Damage != nil {
		t.Errorf("stream %q, was %q; %+v", r.StreamID(), stream, r.Found)
	}
	if seq, err := r.LastSeq(ctx, "pump-1"); err != nil || seq != 1 {
		t.Errorf("last seq = %d, %v", seq, err)
	}
	if name := filepath.Base(path); exists(path+ledgerSuffix) || exists(copyPath(path, 0)) {
		t.Errorf("copies of the old %s are still beside the new one", name)
	}
	r.put(t, numbered("pump-1", 2))
	r.end(t)

	again, rec := mustOpen(t, path, Options{})
	if diff := cmp.Diff(Recovery{}, rec); diff != "" {
		t.Errorf("a restore is said once (-want +got):\n%s", diff)
	}
	wantUndelivered(t, again, "pump-1", 1, 2)
	old, _ := mustOpen(t, aside, Options{})
	if old.StreamID() != stream {
		t.Errorf("what was set aside has stream %q, want %q", old.StreamID(), stream)
	}
}

func TestRestoreRefusesWhatIsNoGoodBackup(t *testing.T) {
	dir := t.TempDir()
	damaged := filepath.Join(dir, "damaged.db")
	lived(t, damaged)
	damage(t, damaged, rootPage(t, damaged, "history"), pageSize, 'x')
	foreign, empty := filepath.Join(dir, "foreign.db"), filepath.Join(dir, "empty.db")
	if err := makeForeign(foreign); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ name, from, want string }{
		{"none there", filepath.Join(dir, "none.db"), "no such file or directory"},
		{"damaged", damaged, "is damaged"},
		{"another program's", foreign, "is not a state file"},
		{"empty", empty, "is not a state file"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := stateFile(t)
			stream := lived(t, path)
			if _, err := Restore(path, tt.from); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("err = %v, want %q", err, tt.want)
			}
			s, rec := mustOpen(t, path, Options{})
			if s.StreamID() != stream || !cmp.Equal(rec, Recovery{}) {
				t.Errorf("the old file did not stay as it was: %+v", rec)
			}
		})
	}
}
