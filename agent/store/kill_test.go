package store

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
)

// killedWriter names the state file in the environment of the process that is
// going to be killed.
const killedWriter = "STORE_TEST_KILLED_WRITER"

func TestMain(m *testing.M) {
	if path := os.Getenv(killedWriter); path != "" {
		writeUntilKilled(path)
	}
	os.Exit(m.Run())
}

// writeUntilKilled puts as three pumps do, and says each thing that is durable
// ("stored pump-1 7"), or about to be struck ("delivered pump-1 6"), on its
// standard output. It never returns.
func writeUntilKilled(path string) {
	s, _, err := Open(path, Options{CopyEvery: time.Millisecond})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	w, err := NewWriter(s)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	ctx := context.Background()
	var group sync.WaitGroup
	for _, pump := range []string{"pump-1", "pump-2", "pump-3"} {
		seq, err := s.LastSeq(ctx, pump)
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		group.Go(func() {
			for {
				seq++
				if err := w.Put(ctx, numbered(pump, seq)); err != nil {
					fmt.Println(err)
					continue
				}
				fmt.Println("stored", pump, seq)
				if seq%3 == 0 {
					fmt.Println("delivered", pump, seq)
					w.Delivered(Key{pump, seq})
				}
			}
		})
	}
	group.Go(func() { fmt.Println(w.Run(ctx)) })
	group.Wait()
}

// numbered is a change set in which everything tells its number.
func numbered(pump string, seq uint64) ChangeSet {
	e := entry(pump, seq, 0)
	e.Body = fmt.Appendf(nil, `{"seq":%d,"text":"%s"}`, seq, strings.Repeat("t", int(seq%7)*300))
	text := fmt.Append(nil, seq)
	start := noon.Add(time.Duration(seq) * time.Minute)
	return ChangeSet{
		Subject: pump, State: State{1, text}, Counters: text, Journal: []Entry{e},
		History: []Block{{Subject: pump, Kind: "1m", Start: start, Stop: start.Add(time.Minute), Body: bytes.Repeat(text, 500)}},
	}
}

func TestKillLosesNothingThatWasAcknowledgedAndTearsNothing(t *testing.T) {
	const rounds = 24
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	path := stateFile(t)
	stored, delivered := map[string]uint64{}, map[Key]bool{}
	for round := range rounds {
		said := killOnce(t, path, time.Duration(r.IntN(30_000))*time.Microsecond)
		for line := range strings.Lines(said) {
			var what, pump string
			var seq uint64
			if n, _ := fmt.Sscan(line, &what, &pump, &seq); n != 3 || what != "stored" && what != "delivered" {
				t.Fatalf("round %d: the writer said %q", round, line)
			}
			if what == "stored" {
				stored[pump] = seq
			} else {
				delivered[Key{pump, seq}] = true
			}
		}
		inspect(t, path, stored, delivered)
		if t.Failed() {
			t.Fatalf("in round %d", round)
		}
	}
	t.Logf("%v entries in %d rounds", stored, rounds)
}

// killOnce starts the writer, kills it some time after its first word, and
// returns all it said.
func killOnce(t *testing.T, path string, after time.Duration) string {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), killedWriter+"="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewReader(out)
	first, err := lines.ReadString('\n')
	if err != nil {
		t.Fatalf("the writer said nothing: %v", err)
	}
	kill := time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
	defer kill.Stop()
	rest, _ := io.ReadAll(lines)
	_ = cmd.Wait() // "signal: killed" is what we want
	if i := bytes.LastIndexByte(rest, '\n'); i >= 0 {
		rest = rest[:i+1] // a line cut short was not said
	} else {
		rest = nil
	}
	return first + string(rest)
}

// inspect opens what the killed writer left. All parts of a change set must
// tell the same number, not below the last acknowledged one.
func inspect(t *testing.T, path string, stored map[string]uint64, delivered map[Key]bool) {
	t.Helper()
	ctx := t.Context()
	s, rec := mustOpen2(t, path, Options{})
	defer s.Close()
	if rec.Damage != nil || rec.Created {
		t.Errorf("recovery = %+v", rec)
	}
	if err := quickCheck(ctx, s.read, path, ""); err != nil {
		t.Error(err)
	}
	states, err := s.States(ctx)
	if err != nil {
		t.Fatal(err)
	}
	counters, _, err := s.Counters(ctx)
	if err != nil {
		t.Fatal(err)
	}
	undelivered := undeliveredKeys(t, s)
	for pump, acknowledged := range stored {
		last, err := s.LastSeq(ctx, pump)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := s.Journal(ctx, JournalQuery{Subjects: []string{pump}})
		if err != nil {
			t.Fatal(err)
		}
		blocks, err := s.History(ctx, pump, "1m", noon.Add(time.Duration(last)*time.Minute), noon.Add(time.Duration(last+9)*time.Minute))
		if err != nil || len(blocks) != 1 || !bytes.HasPrefix(blocks[0].Body, fmt.Append(nil, last)) {
			t.Errorf("%s: history of %d: %d blocks, %v", pump, last, len(blocks), err)
		}
		if last < acknowledged || uint64(len(rows)) != last {
			t.Errorf("%s: %d entries up to %d, %d acknowledged", pump, len(rows), last, acknowledged)
		}
		if state, c := string(states[pump].Body), string(counters[pump]); state != fmt.Sprint(last) || c != state {
			t.Errorf("%s: state %s and counters %s beside journal %d", pump, state, c, last)
		}
		for seq := uint64(1); seq <= last; seq++ {
			if k := (Key{pump, seq}); !delivered[k] && !undelivered[k] {
				t.Errorf("%v was never delivered and is not in the outbox", k)
			}
		}
	}
}

func undeliveredKeys(t *testing.T, s *Store) map[Key]bool {
	t.Helper()
	entries, err := s.outbox(t.Context(), 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	keys := map[Key]bool{}
	for _, e := range entries {
		keys[e.Key()] = true
	}
	return keys
}
