package modbus

import (
	"fmt"
	"log"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// fifo is how many characters the far end hands over at a time, the usual
// level at which a serial controller with a buffer of 16 raises its interrupt.
const fifo = 8

// farEndProcess is a device on the far end of a pseudo-terminal, descriptor 3,
// which has no wire: it takes the time that one would take. A request ends 8
// characters after it was written, t3.5 ends the frame, another t3.5 is the
// device's turnaround, then its answer comes character by character.
func farEndProcess(args []string) {
	runtime.LockOSThread()
	// Without this a sleep is 50 µs longer than asked for.
	if err := unix.Prctl(unix.PR_SET_TIMERSLACK, 1, 0, 0, 0); err != nil {
		log.Fatal(err)
	}
	baud, err := strconv.Atoi(args[0])
	if err != nil {
		log.Fatal(err)
	}
	line := Line{Baud: baud, Parity: EvenParity, StopBits: 1}
	const fd = 3
	if err := unix.SetNonblock(fd, false); err != nil {
		log.Fatal(err)
	}
	for {
		var request [8]byte
		for n := 0; n < len(request); {
			m, err := unix.Read(fd, request[n:])
			if err == unix.EINTR {
				continue
			}
			if err != nil || m == 0 {
				return // hung up
			}
			n += m
		}
		at := monotonic() + line.characters(len(request)) + 2*line.Gap()
		answer := healthyRTU(request[:])
		for sent := 0; sent < len(answer); {
			part := min(fifo, len(answer)-sent)
			sent += part
			sleepUntil(at + line.characters(sent))
			if _, err := unix.Write(fd, answer[sent-part:sent]); err != nil {
				return
			}
		}
	}
}

func monotonic() time.Duration {
	var t unix.Timespec
	_ = unix.ClockGettime(unix.CLOCK_MONOTONIC, &t)
	return time.Duration(t.Nano())
}

func sleepUntil(at time.Duration) {
	t := unix.NsecToTimespec(int64(at))
	for unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &t, nil) == unix.EINTR {
	}
}

// BenchmarkRTU compares a bus with the wire floor. One iteration is one run of
// about a quarter of a second; "floor-ratio" is the floor by the time of the
// best run: -benchtime=5x gives the best of five.
func BenchmarkRTU(b *testing.B) {
	for _, baud := range []int{9600, 19200, 115200} {
		for _, count := range []uint16{2, 10, 60} {
			b.Run(fmt.Sprintf("baud=%d/registers=%d", baud, count), func(b *testing.B) {
				p := openPTY(b)
				far := process(b, "far end", strconv.Itoa(baud))
				far.ExtraFiles = []*os.File{p.far}
				if err := far.Start(); err != nil {
					b.Fatal(err)
				}
				defer func() {
					_ = far.Process.Kill()
					_ = far.Wait()
				}()
				s := quick(RTU, p.path)
				s.Line.Baud = baud
				bus := openBus(b, s)
				r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: count}
				floor := s.WireTime(r.Table, int(r.Count))
				read := func() error {
					_, err := bus.Read(b.Context(), r)
					return err
				}
				if err := read(); err != nil { // the line has settled
					b.Fatal(err)
				}
				transactions := int(250*time.Millisecond/floor) + 2
				best := time.Hour
				for b.Loop() {
					best = min(best, timed(b, transactions, read)/time.Duration(transactions))
				}
				b.ReportMetric(float64(floor)/float64(best), "floor-ratio")
				b.ReportMetric(float64((best - floor).Microseconds()), "µs-over")
			})
		}
	}
}
