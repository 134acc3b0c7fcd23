package modbus

import (
	"bytes"
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	gomodbus "github.com/goburrow/modbus"
)

// A recorder is a link that keeps what is written to it and never answers.
type recorder struct {
	bytes.Buffer
	until time.Time
}

func (r *recorder) arm(until time.Time) error   { r.until = until; return nil }
func (r *recorder) write(p []byte) (int, error) { return r.Write(p) }
func (r *recorder) poll([]byte) (int, error)    { return 0, nil }
func (r *recorder) interrupt()                  {}
func (r *recorder) close() error                { return nil }

// read hangs up on those who wait for an answer.
func (r *recorder) read([]byte) (int, error) {
	if left := time.Until(r.until); left < time.Second {
		time.Sleep(left)
		return 0, os.ErrDeadlineExceeded
	}
	return 0, io.EOF
}

// recorded returns a bus of one kind whose wire is a recorder.
func recorded(t testing.TB, k Kind) (*Bus, *recorder) {
	t.Helper()
	s := quick(k, "127.0.0.1:502")
	s.LateLimit = 1
	b := openBus(t, s)
	b.settings.Line = Line{} // no wire, no waiting for it
	r := &recorder{}
	b.wire.open = func(context.Context, *Settings) (link, error) { return r, nil }
	b.wire.begin(t.Context(), b.unit(1), time.Now(), time.Minute, 0)
	return b, r
}

var wires = []Kind{TCP, RTU, RTUOverTCP}

// TestOnlyReadsLeave sends every function code there is, with bodies of every
// length that fits, straight into the transport.
func TestOnlyReadsLeave(t *testing.T) {
	t.Parallel()
	for _, k := range wires {
		b, wire := recorded(t, k)
		left := map[byte][]int{} // lengths of the PDUs that left, by function
		for function := range 256 {
			for length := 0; length <= 252; length++ {
				body := bytes.Repeat([]byte{typeIdentification}, length)
				frame, err := b.unit(1).packager.Encode(&gomodbus.ProtocolDataUnit{FunctionCode: byte(function), Data: body})
				if err != nil {
					t.Fatal(err)
				}
				wire.Reset()
				_, err = b.wire.Send(frame)
				if wire.Len() > 0 {
					left[byte(function)] = append(left[byte(function)], 1+length)
				} else if ReasonOf(err) != Invalid {
					t.Fatalf("%v: function %d stayed with error %v, want that it is no read", k, function, err)
				}
			}
		}
		for function := range 256 {
			want := []int(nil)
			switch function {
			case 1, 2, 3, 4:
				want = []int{5}
			case 43:
				want = []int{4}
			}
			if got := left[byte(function)]; !slices.Equal(got, want) {
				t.Errorf("%v: function %d left with PDUs of %v bytes, want %v", k, function, got, want)
			}
		}
	}
}

func TestFunction43LeavesOnlyWithType14(t *testing.T) {
	for kind := range 256 {
		pdu := []byte{43, byte(kind), 1, 0}
		if got, want := readsOnly(pdu), kind == 14; got != want {
			t.Errorf("function 43 type %d may leave: %v, want %v", kind, got, want)
		}
	}
}

// TestEveryWriteOfTheLibraryStays calls all that goburrow's client can write.
func TestEveryWriteOfTheLibraryStays(t *testing.T) {
	t.Parallel()
	for _, k := range wires {
		b, wire := recorded(t, k)
		c := b.unit(1).client
		writes := map[string]func() ([]byte, error){
			"coil":                    func() ([]byte, error) { return c.WriteSingleCoil(1, 0xFF00) },
			"coils":                   func() ([]byte, error) { return c.WriteMultipleCoils(1, 8, []byte{1}) },
			"register":                func() ([]byte, error) { return c.WriteSingleRegister(1, 1) },
			"registers":               func() ([]byte, error) { return c.WriteMultipleRegisters(1, 1, []byte{0, 1}) },
			"mask":                    func() ([]byte, error) { return c.MaskWriteRegister(1, 1, 1) },
			"read and write":          func() ([]byte, error) { return c.ReadWriteMultipleRegisters(1, 1, 1, 1, []byte{0, 1}) },
			"queue, which it empties": func() ([]byte, error) { return c.ReadFIFOQueue(1) },
		}
		for name, write := range writes {
			if _, err := write(); ReasonOf(err) != Invalid || !strings.Contains(err.Error(), "is no read and does not leave") {
				t.Errorf("%v, %s: error %v, want that it does not leave", k, name, err)
			}
		}
		if wire.Len() > 0 {
			t.Errorf("%v: % x left", k, wire.Bytes())
		}
	}
}

// sources parses this package without its tests.
func sources(t *testing.T) (files []*ast.File, set *token.FileSet) {
	t.Helper()
	set = token.NewFileSet()
	names, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		if !strings.HasSuffix(n.Name(), ".go") || strings.HasSuffix(n.Name(), "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, n.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	return files, set
}

// calls returns where selectors of a name are called.
func calls(files []*ast.File, set *token.FileSet, name string) (at []string) {
	for _, f := range files {
		ast.Inspect(f, func(n ast.Node) bool {
			if c, ok := n.(*ast.CallExpr); ok {
				if s, ok := c.Fun.(*ast.SelectorExpr); ok && s.Sel.Name == name {
					at = append(at, set.Position(n.Pos()).Filename)
				}
			}
			return true
		})
	}
	return at
}

func TestOnePlaceWritesToTheWire(t *testing.T) {
	files, set := sources(t)
	if at := calls(files, set, "write"); !slices.Equal(at, []string{"transport.go"}) {
		t.Errorf("link.write is called in %v, want once in transport.go", at)
	}
}

// TestT3AndT9NoTimerOrGoroutineTouchesAPort: goburrow's idle closer runs beside
// the reader, without a lock on serial ports, and rescues nothing.
func TestT3AndT9NoTimerOrGoroutineTouchesAPort(t *testing.T) {
	files, set := sources(t)
	for _, f := range files {
		ast.Inspect(f, func(n ast.Node) bool {
			if g, ok := n.(*ast.GoStmt); ok {
				t.Errorf("%v: a go statement", set.Position(g.Pos()))
			}
			return true
		})
	}
	for _, name := range []string{"NewTimer", "NewTicker", "Tick", "After"} {
		if at := calls(files, set, name); len(at) > 0 {
			t.Errorf("%s is called in %v", name, at)
		}
	}
	// The only function that others call is the waker's: it interrupts, under a lock.
	if at := calls(files, set, "AfterFunc"); !slices.Equal(at, []string{"link.go"}) {
		t.Errorf("AfterFunc is called in %v, want once in link.go", at)
	}
}
