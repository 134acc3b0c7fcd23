package poll_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pumpside/agent/poll"
	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
	"pumpside/simulator"
)

// A rig polls one simulated skid over Modbus TCP: its drive is unit 1, its
// instruments are unit 2 and feed two pumps.
type rig struct {
	poller *poll.Poller
	skid   *simulator.Skid
	began  time.Time

	mu      sync.Mutex
	batches map[int][]drivers.Batch
	polls   map[string][2]int // answered, not answered
	steady  bool
	ramping bool
}

func newRig(t *testing.T, points []regmap.Point, change func(*poll.Settings)) *rig {
	t.Helper()
	set := simulator.DefaultSettings(1)
	set.Running = true
	skid, err := simulator.NewSkid(set)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{skid: skid, began: time.Now(), batches: map[int][]drivers.Batch{}, polls: map[string][2]int{}}
	server := &simulator.Server{Units: map[byte]simulator.Unit{1: skid.Unit(simulator.Drive), 2: skid.Unit(simulator.Instruments)}}
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- server.Serve(ctx, listener, simulator.TCP) }()
	t.Cleanup(func() { stop(); <-served })

	settings := poll.Settings{
		ID:  "skid",
		Bus: modbus.Settings{Kind: modbus.TCP, Address: listener.Addr().String(), Timeout: 200 * time.Millisecond, RetryFirst: 50 * time.Millisecond},
		Devices: []poll.Device{
			{
				ID: "drive", Unit: 1, Routine: 50 * time.Millisecond, Slow: time.Second,
				Map:   regmap.Map{Points: []regmap.Point{speed()}},
				Feeds: []poll.Feed{{Point: 0, Pump: 0, Signal: drivers.MotorSpeed}},
			},
			{
				ID: "module", Unit: 2, Routine: 50 * time.Millisecond, Slow: time.Second,
				Map:   regmap.Map{Points: points},
				Feeds: []poll.Feed{{Point: 0, Pump: 0, Signal: drivers.DischargePressure}, {Point: 0, Pump: 1, Signal: drivers.DischargePressure}},
			},
		},
	}
	if change != nil {
		change(&settings)
	}
	r.poller = &poll.Poller{
		Settings: settings,
		Instant: func(at time.Time) drivers.Instant {
			return drivers.Instant{Wall: at, Boot: "a", SinceBoot: at.Sub(r.began)}
		},
		Deliver: func(pump int, b drivers.Batch) {
			r.mu.Lock()
			defer r.mu.Unlock()
			r.batches[pump] = append(r.batches[pump], b)
		},
		Polled: func(device string, answered bool) {
			r.mu.Lock()
			defer r.mu.Unlock()
			n := r.polls[device]
			if answered {
				n[0]++
			} else {
				n[1]++
			}
			r.polls[device] = n
		},
		Steady:  func(int) bool { r.mu.Lock(); defer r.mu.Unlock(); return r.steady },
		Ramping: func(int) bool { r.mu.Lock(); defer r.mu.Unlock(); return r.ramping },
	}
	return r
}

// run polls until enough holds, and gives up after ten seconds.
func (r *rig) run(t *testing.T, enough func() bool) {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), 10*time.Second)
	done := make(chan error, 1)
	go func() { done <- r.poller.Run(ctx) }()
	for ctx.Err() == nil {
		r.mu.Lock()
		ok := enough()
		r.mu.Unlock()
		if ok {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	late := ctx.Err() != nil
	stop()
	if err := <-done; err != nil {
		t.Fatalf("Run = %v after it was asked to stop", err)
	}
	if late {
		t.Fatal("gave up waiting")
	}
}

func speed() regmap.Point {
	unit, _ := quantity.Lookup("rpm")
	return regmap.Point{Name: "speed", Table: regmap.Holding, Address: 3, Type: regmap.Int16, Scale: 1, Unit: unit}
}

func pressure(address uint16) regmap.Point {
	unit, _ := quantity.Lookup("kPa")
	return regmap.Point{Name: "pressure", Table: regmap.Input, Address: address, Type: regmap.Uint16, Scale: 10000.0 / 4095, Unit: unit, Class: regmap.Fast}
}

func TestReadingsReachEveryPumpTheyFeed(t *testing.T) {
	r := newRig(t, []regmap.Point{pressure(0)}, nil)
	r.run(t, func() bool { return len(r.batches[0]) >= 6 && len(r.batches[1]) >= 3 })
	var last time.Duration
	seen := map[drivers.Signal]float64{}
	for _, b := range r.batches[0] {
		if b.At.SinceBoot < last {
			t.Error("batches of one bus are out of order")
		}
		last = b.At.SinceBoot
		for _, reading := range b.Readings {
			if reading.Quality != drivers.Good {
				t.Errorf("%v is %v (%v)", reading.Signal, reading.Quality, reading.Reason)
			}
			seen[reading.Signal] = reading.Value
		}
	}
	if v := seen[drivers.MotorSpeed]; v < 1400 || v > 1500 {
		t.Errorf("motor speed %v rpm, the skid runs at 1450", v)
	}
	if v := seen[drivers.DischargePressure]; v < 6e6 || v > 8.5e6 {
		t.Errorf("discharge pressure %v Pa, the skid pumps against 7 MPa", v)
	}
	for _, b := range r.batches[1] {
		if len(b.Readings) != 1 || b.Readings[0].Signal != drivers.DischargePressure {
			t.Fatalf("the second pump gets %v", b.Readings)
		}
	}
	for i, device := range r.poller.Raw() { // the first to ask must not wait
		if device[0].RawWords != 1 || device[0].At.IsZero() {
			t.Errorf("device %d: the words are not there when somebody asks: %+v", i, device[0])
		}
	}
}

func TestSilentDeviceIsDataAndStarvesNobody(t *testing.T) {
	r := newRig(t, []regmap.Point{pressure(0)}, nil)
	if err := r.skid.Schedule(simulator.Event{Do: simulator.DeviceSilent, Device: simulator.Instruments}); err != nil {
		t.Fatal(err)
	}
	r.run(t, func() bool { return r.polls["module"][1] >= 5 && r.polls["drive"][0] >= 20 })
	bad := map[drivers.Reason]int{}
	for _, b := range r.batches[1] {
		for _, reading := range b.Readings {
			if reading.Quality != drivers.Bad && len(bad) > 0 {
				t.Errorf("a silent device gives %v", reading)
			}
			if reading.Quality == drivers.Bad {
				bad[reading.Reason]++
			}
		}
	}
	if bad[drivers.Timeout] == 0 || bad[drivers.BackingOff] == 0 {
		t.Errorf("reasons %v, want timeouts and then backing off", bad)
	}
	if n := r.polls["drive"]; n[1] > n[0]/2 {
		t.Errorf("the drive on the same line answered %d times and failed %d times", n[0], n[1])
	}
}

// TestRefusedBlockIsSplit asks for two values with registers between them that
// the device does not have.
func TestRefusedBlockIsSplit(t *testing.T) {
	second := pressure(18) // 17 is nothing: see the simulator's map
	second.Name, second.Class = "gas", regmap.Routine
	r := newRig(t, []regmap.Point{pressure(16), second}, func(s *poll.Settings) {
		s.Devices[1].Feeds = append(s.Devices[1].Feeds, poll.Feed{Point: 1, Pump: 0, Signal: drivers.GasFlow})
		s.Devices[1].Map.Points[0].Address = 40 // beyond the map: refused alone, too
	})
	r.run(t, func() bool {
		for _, b := range r.batches[0] {
			for _, reading := range b.Readings {
				if reading.Signal == drivers.GasFlow && reading.Quality == drivers.Good {
					return true
				}
			}
		}
		return false
	})
}

func TestFastWindowOpensOnlyForASteadyPump(t *testing.T) {
	window := func(s *poll.Settings) {
		s.Devices[1].FastFor, s.Devices[1].FastEvery = 5*time.Second, 5*time.Second
		s.Devices[1].Routine, s.Devices[0].Routine = 500*time.Millisecond, 500*time.Millisecond
	}
	r := newRig(t, []regmap.Point{pressure(0)}, window)
	r.run(t, func() bool { return r.polls["drive"][0] >= 3 })
	if n := r.polls["module"][0]; n > 6 {
		t.Errorf("%d reads of the module while the pump is not steady, and the drive was read 3 times", n)
	}
	r = newRig(t, []regmap.Point{pressure(0)}, window)
	r.steady = true
	r.run(t, func() bool { return r.polls["module"][0] >= 40 })
	if n := r.polls["drive"][0]; n < 1 {
		t.Error("the routine beat did not go on during the fast window")
	}
}

// A start is over in seconds: the window opens although the pump is not steady
// and its beat is far.
func TestFastWindowOpensAtOnceForARamp(t *testing.T) {
	r := newRig(t, []regmap.Point{pressure(0)}, func(s *poll.Settings) {
		s.Devices[1].FastFor, s.Devices[1].FastEvery = 5*time.Second, time.Hour
		s.Devices[1].Routine, s.Devices[0].Routine = time.Second, time.Second
	})
	r.ramping = true
	r.run(t, func() bool { return r.polls["module"][0] >= 40 })
}

func TestFactsCountWhatHappened(t *testing.T) {
	r := newRig(t, []regmap.Point{pressure(0)}, nil)
	var facts *poll.Facts
	r.run(t, func() bool { facts = r.poller.Facts(); return facts != nil && facts.Devices[0].Requests > 10 })
	d := facts.Devices[0]
	if facts.Bus != "skid" || d.Device != "drive" || !d.Up || d.Requests != d.Answers || d.Buckets[len(d.Buckets)-1] != d.Answers || d.Failures[modbus.Timeout] != 0 {
		t.Errorf("facts %+v", facts)
	}
}

// An answerer gives the exception a request is answered with, 0 for values.
type answerer func(at time.Duration, first, count uint16) (exception byte)

// serve runs a Modbus TCP device whose every register is 7, and says what it
// was asked.
func serve(t *testing.T, answer answerer) (address string, asked func() int) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var n atomic.Int64
	began := time.Now()
	conns := make(chan net.Conn, 100)
	go func() {
		defer close(conns)
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			conns <- conn
			go func() {
				for request := make([]byte, 12); ; n.Add(1) {
					if _, err := io.ReadFull(conn, request); err != nil {
						return
					}
					first, count := binary.BigEndian.Uint16(request[8:]), binary.BigEndian.Uint16(request[10:])
					pdu := []byte{request[7] | 0x80, answer(time.Since(began), first, count)}
					if pdu[1] == 0 {
						pdu = append([]byte{request[7], byte(2 * count)}, bytes.Repeat([]byte{0, 7}, int(count))...)
					}
					frame := append(request[:4:4], 0, byte(1+len(pdu)), request[6])
					_, _ = conn.Write(append(frame, pdu...))
				}
			}()
		}
	}()
	t.Cleanup(func() {
		_ = listener.Close()
		for conn := range conns {
			_ = conn.Close()
		}
	})
	return listener.Addr().String(), func() int { return int(n.Load()) }
}

// registers reads n contiguous values of one device at that address, every 50 ms.
func registers(t *testing.T, address string, n int) *rig {
	unit, _ := quantity.Lookup("rpm")
	return newRig(t, []regmap.Point{pressure(0)}, func(s *poll.Settings) {
		s.Bus.Address = address
		s.Devices = s.Devices[:1]
		s.Devices[0].Map.Points = nil
		for i := range n {
			s.Devices[0].Map.Points = append(s.Devices[0].Map.Points, regmap.Point{Name: fmt.Sprint("r", i), Table: regmap.Holding, Address: uint16(i), Type: regmap.Uint16, Scale: 1, Unit: unit})
		}
	})
}

func TestDeadDeviceBehindAGatewayDoesNotAnswer(t *testing.T) {
	for _, exception := range []byte{10, 11} {
		address, _ := serve(t, func(time.Duration, uint16, uint16) byte { return exception })
		r := registers(t, address, 1)
		r.run(t, func() bool {
			f := r.poller.Facts()
			return r.polls["drive"][1] >= 20 && f != nil && f.Devices[0].Requests > 0
		})
		if n, f := r.polls["drive"], r.poller.Facts().Devices[0]; n[0] > 0 || f.Up || f.Answers > 0 {
			t.Errorf("exception %d: %d polls of a dead device count as answered, up %v, %d answers", exception, n[0], f.Up, f.Answers)
		}
	}
}

func TestRequestsThatNeverLeftAreNotCounted(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := listener.Addr().String()
	_ = listener.Close() // dials are refused
	r := registers(t, address, 1)
	r.run(t, func() bool {
		f := r.poller.Facts()
		return f != nil && f.Devices[0].Failures[modbus.Disconnected] > 0
	})
	if f := r.poller.Facts().Devices[0]; f.Requests > 0 || f.Answers > 0 || f.Sum > 0 || !f.Tried {
		t.Errorf("nothing was sent: %+v", f)
	}
}

func TestDurationsAreThoseOfAnswers(t *testing.T) {
	address, _ := serve(t, func(at time.Duration, _, _ uint16) byte {
		if at < time.Second {
			time.Sleep(500 * time.Millisecond) // longer than the timeout
		}
		return 0
	})
	r := registers(t, address, 1)
	r.run(t, func() bool {
		f := r.poller.Facts()
		return f != nil && f.Devices[0].Answers > 10 && f.Devices[0].Failures[modbus.Timeout] > 0
	})
	f := r.poller.Facts().Devices[0]
	if f.Requests < f.Answers+f.Failures[modbus.Timeout] || f.Buckets[len(f.Buckets)-1] != f.Answers || f.Sum > 100*time.Millisecond*time.Duration(f.Answers) {
		t.Errorf("requests without an answer have no duration: %+v", f)
	}
}

// A drive answers for its first second or two that it has no such registers.
func TestRefusalsOfADriveThatBootsDoNotSplitItsBlocks(t *testing.T) {
	address, asked := serve(t, func(at time.Duration, _, _ uint16) byte {
		if at < 1500*time.Millisecond {
			return 2
		}
		return 0
	})
	r := registers(t, address, 40)
	beats := func() int { return r.polls["drive"][0] }
	from, before := 0, 0
	r.run(t, func() bool {
		if from == 0 && time.Since(r.began) > 2*time.Second {
			from, before = beats(), asked()
		}
		return from > 0 && beats() >= from+20
	})
	took := time.Since(r.began) - 2*time.Second
	if n := asked() - before; n > int(took/(50*time.Millisecond))+5 {
		t.Errorf("%d requests in %v; the 40 registers are one block, read every 50 ms", n, took)
	}
}

func TestBlockRefusedForGoodIsReadInParts(t *testing.T) {
	address, _ := serve(t, func(_ time.Duration, first, count uint16) byte {
		if first <= 7 && first+count > 7 {
			return 2
		}
		return 0
	})
	r := registers(t, address, 40)
	r.poller.Settings.Devices[0].Feeds = []poll.Feed{{Point: 3, Pump: 0, Signal: drivers.MotorSpeed}, {Point: 39, Pump: 0, Signal: drivers.MotorPower}}
	good := map[drivers.Signal]int{}
	read := 0
	r.run(t, func() bool {
		for ; read < len(r.batches[0]); read++ {
			for _, reading := range r.batches[0][read].Readings {
				if reading.Quality == drivers.Good {
					good[reading.Signal]++
				}
			}
		}
		return good[drivers.MotorSpeed] > 10 && good[drivers.MotorPower] > 10
	})
}
