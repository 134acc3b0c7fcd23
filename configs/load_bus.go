package configs

import (
	"fmt"
	"net"
	"slices"
	"time"

	"pumpside/drivers/modbus"
)

func (l *loader) buses() {
	l.busOf = map[string]int{}
	names := l.newIDs()
	lines := map[string]*place{} // by serial path or address of a serial server
	for i := range l.file.Buses {
		f, here := &l.file.Buses[i], at("buses").item(i)
		names.add(here.child("id"), f.ID)
		b := Bus{ID: f.ID, Settings: l.bus(here, f)}
		if line := b.Settings.Address; b.Settings.Kind != modbus.TCP && line != "" {
			if other, twice := lines[line]; twice {
				l.wrong(here, "%s is the line of %v already; two masters on one line disturb each other: put all its devices on one bus", line, other)
			} else {
				lines[line] = here
			}
		}
		if _, known := l.busOf[f.ID]; !known {
			l.busOf[f.ID] = i
		}
		l.config.Buses = append(l.config.Buses, b)
	}
	if len(l.file.Buses) == 0 {
		l.wrong(at("buses"), "is empty; list at least one bus")
	}
}

func (l *loader) bus(here *place, f *busFile) modbus.Settings {
	s := modbus.Settings{Timeout: f.Timeout, LateLimit: f.LateLimit}
	given := 0
	if f.TCP != "" {
		given++
		s.Kind, s.Address = modbus.TCP, f.TCP
		l.device502(here.child("tcp"), f.TCP)
	}
	if r := f.RTU; r != nil {
		given++
		s.Kind, s.Address = modbus.RTU, r.Path
		s.Line = l.line(here.child("rtu"), r.Baud, r.Parity, r.StopBits)
		s.Line.RS485.Enabled = r.RS485
		if r.Path == "" {
			l.wrong(here.child("rtu").child("path"), "is empty; write the port, such as /dev/serial/by-id/…")
		}
	}
	if r := f.RTUOverTCP; r != nil {
		given++
		s.Kind, s.Address = modbus.RTUOverTCP, r.Address
		s.Line = l.line(here.child("rtu_over_tcp"), r.Baud, r.Parity, r.StopBits)
		l.device502(here.child("rtu_over_tcp").child("address"), r.Address)
	}
	if given != 1 && !l.anySpoilt(here, "tcp", "rtu", "rtu_over_tcp") {
		l.wrong(here, "give exactly one of tcp, rtu and rtu_over_tcp: %s", [...]string{"none is there", "", "two are there", "all are there"}[given])
	}
	l.between(here.child("timeout"), f.Timeout, 10*time.Millisecond, time.Minute)
	l.between(here.child("late_limit"), f.LateLimit, 10*time.Millisecond, time.Minute)
	return s
}

func (l *loader) anySpoilt(here *place, keys ...string) bool {
	return slices.ContainsFunc(keys, func(key string) bool { return l.isSpoilt(here.child(key)) })
}

// device502 checks the address of a device.
func (l *loader) device502(here *place, address string) {
	host, _, err := net.SplitHostPort(address)
	if err != nil && net.ParseIP(address) != nil || err != nil && isHostName(address) {
		l.wrong(here, "%q has no port; write %q (502 is Modbus TCP's)", address, net.JoinHostPort(address, "502"))
		return
	}
	l.hostPort(here, address, "10.0.0.5:502")
	if err == nil && host == "" {
		l.wrong(here, "%q has no host; write such as 10.0.0.5:502", address)
	}
}

func isHostName(text string) bool {
	for _, r := range text {
		if !isNameRune(r) && r != '.' {
			return false
		}
	}
	return text != ""
}

var parities = map[string]modbus.Parity{"none": modbus.NoParity, "odd": modbus.OddParity, "even": modbus.EvenParity}

func (l *loader) line(here *place, baud int, parity string, stopBits int) modbus.Line {
	if !slices.Contains(modbus.Bauds, baud) {
		l.wrong(here.child("baud"), "no serial port runs at %d baud; %s", baud, nearBaud(baud))
	}
	return modbus.Line{Baud: baud, Parity: parities[parity], StopBits: stopBits}
}

func nearBaud(baud int) string {
	var known []string
	for _, b := range modbus.Bauds {
		known = append(known, fmt.Sprint(b))
	}
	return oneOf(fmt.Sprint(baud), known)
}
