package modbus

import (
	"context"
	"errors"
	"testing"
	"time"
)

func TestReadGivesTheAskedRegistersOverEveryWire(t *testing.T) {
	t.Parallel()
	device := openPTY(t)
	device.serve(t, func(_ int, request []byte) []chunk { return whole(healthyRTU(request)) })
	buses := map[string]Settings{
		"tcp": quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
			return whole(healthyTCP(request))
		})),
		"rtu": quick(RTU, device.path),
		"rtu over tcp": quick(RTUOverTCP, serveTCP(t, readRTU, func(_ int, request []byte) []chunk {
			return whole(healthyRTU(request))
		})),
	}
	for name, s := range buses {
		t.Run(name, func(t *testing.T) {
			b := openBus(t, s)
			for unit := byte(1); unit <= 3; unit++ {
				for _, r := range []Request{
					{Unit: unit, Table: HoldingRegisters, First: 0, Count: 1},
					{Unit: unit, Table: InputRegisters, First: 65411, Count: 125},
					{Unit: unit, Table: Coils, First: 7, Count: 2000},
					{Unit: unit, Table: DiscreteInputs, First: 100, Count: 9},
				} {
					a, err := b.Read(t.Context(), r)
					if err != nil {
						t.Fatal(err)
					}
					checkAnswer(t, r, a)
				}
			}
			if f := b.Facts(); f.Requests != 12 || f.Answers != 12 || f.Opened != 1 || !f.Open {
				t.Errorf("facts %+v, want 12 requests, 12 answers, opened once", f)
			}
		})
	}
}

func checkAnswer(t *testing.T, r Request, a Answer) {
	t.Helper()
	if !r.Table.Bits() {
		checkWords(t, r, a.Words)
	} else {
		if len(a.Bits) != int(r.Count) {
			t.Fatalf("%d bits, want %d", len(a.Bits), r.Count)
		}
		for i, bit := range a.Bits {
			if want := valueAt(r.Unit, int(r.First)+i)%3 == 0; bit != want {
				t.Fatalf("bit %d of unit %d = %v, want %v", int(r.First)+i, r.Unit, bit, want)
			}
		}
	}
	at, half := a.At()
	if half < 0 || at.Add(-half).Before(a.Requested) || at.Add(half).After(a.FirstByte) {
		t.Fatalf("instant %v ± %v leaves request %v and first byte %v", at, half, a.Requested, a.FirstByte)
	}
}

func TestExceptionIsAnErrorOfItsOwnAndTheConnectionStays(t *testing.T) {
	t.Parallel()
	address := serveTCP(t, readTCP, func(n int, request []byte) []chunk {
		if n == 0 {
			return whole(tcpFrame(request, []byte{0x83, 2}))
		}
		return whole(healthyTCP(request))
	})
	b := openBus(t, quick(TCP, address))
	r := Request{Unit: 3, Table: HoldingRegisters, First: 100, Count: 10}
	_, err := b.Read(t.Context(), r)
	const want = "unit 3 holding registers 100..109: device refused: illegal data address (exception 2)"
	if err == nil || err.Error() != want {
		t.Errorf("error text\n got %v\nwant %s", err, want)
	}
	if !errors.Is(err, IllegalAddress) || ReasonOf(err) != Refused {
		t.Errorf("reason %v, want refused by IllegalAddress", ReasonOf(err))
	}
	a, err := b.Read(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	checkWords(t, r, a.Words)
	if b.Facts().Opened != 1 {
		t.Errorf("opened %d times, want once", b.Facts().Opened)
	}
}

func TestCancelledReadReturnsAtOnce(t *testing.T) {
	t.Parallel()
	device := openPTY(t)
	for name, s := range map[string]Settings{
		"tcp": quick(TCP, serveTCP(t, readTCP, func(int, []byte) []chunk { return nil })),
		"rtu": quick(RTU, device.path),
	} {
		t.Run(name, func(t *testing.T) {
			s.Timeout, s.LateLimit = time.Hour, time.Millisecond
			b := openBus(t, s)
			ctx, cancel := context.WithCancel(t.Context())
			time.AfterFunc(20*time.Millisecond, cancel)
			_, err := b.Read(ctx, Request{Unit: 1, Table: HoldingRegisters, Count: 1})
			if !errors.Is(err, context.Canceled) || ReasonOf(err) != Cancelled {
				t.Errorf("error %v, want context canceled", err)
			}
		})
	}
}
