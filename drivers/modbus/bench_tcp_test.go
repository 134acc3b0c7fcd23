package modbus

import (
	"bufio"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	gomodbus "github.com/goburrow/modbus"
)

// tcpServerProcess is a healthy device on a port it prints, until its input ends.
func tcpServerProcess([]string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(l.Addr())
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				log.Fatal(err)
			}
			go func() {
				for {
					request, err := readTCP(conn)
					if err != nil {
						return
					}
					play(conn, whole(healthyTCP(request)))
				}
			}()
		}
	}()
	_, _ = io.Copy(io.Discard, os.Stdin)
}

// startTCPServer starts tcpServerProcess and returns its address.
func startTCPServer(b *testing.B) string {
	b.Helper()
	server := process(b, "tcp server")
	in, err := server.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := server.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := server.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		in.Close()
		_ = server.Wait()
	})
	address, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		b.Fatal(err)
	}
	return strings.TrimSpace(address)
}

// BenchmarkTCP compares transactions per second of a bus and of goburrow's
// bare loop on one server, a process of its own. They take turns in short
// rounds and the median round counts, so that whatever else the machine does
// meets both. "ratio" is bus by bare loop.
func BenchmarkTCP(b *testing.B) {
	address := startTCPServer(b)
	for _, count := range []uint16{10, 60, 125} {
		b.Run(fmt.Sprintf("registers=%d", count), func(b *testing.B) {
			h := gomodbus.NewTCPClientHandler(address)
			h.SlaveId = 1
			defer h.Close()
			client := gomodbus.NewClient(h)
			bus := openBus(b, quick(TCP, address))
			ctx := b.Context()
			r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: count}

			const round = 20
			var bare, own []time.Duration
			for b.Loop() {
				bare = append(bare, timed(b, round, func() error {
					_, err := client.ReadHoldingRegisters(r.First, r.Count)
					return err
				}))
				own = append(own, timed(b, round, func() error {
					_, err := bus.Read(ctx, r)
					return err
				}))
			}
			b.ReportMetric(float64(median(bare))/float64(median(own)), "ratio")
			b.ReportMetric(round/median(own).Seconds(), "bus/s")
			b.ReportMetric(round/median(bare).Seconds(), "bare/s")
		})
	}
}

func timed(b *testing.B, n int, do func() error) time.Duration {
	start := time.Now()
	for range n {
		if err := do(); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(start)
}

func median(d []time.Duration) time.Duration {
	slices.Sort(d)
	return d[len(d)/2]
}

// BenchmarkTCPRead shows what one read through a bus allocates, the server's
// share included.
func BenchmarkTCPRead(b *testing.B) {
	answer := []byte(nil)
	address := serveTCP(b, readTCP, func(_ int, request []byte) []chunk {
		if answer == nil {
			answer = healthyTCP(request)
		}
		copy(answer, request[:2])
		return whole(answer)
	})
	bus := openBus(b, quick(TCP, address))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := bus.Read(b.Context(), Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 10}); err != nil {
			b.Fatal(err)
		}
	}
}
