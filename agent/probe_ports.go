package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
)

// A serialPort is one serial line of this machine.
type serialPort struct {
	Path   string `json:"path"`             // by-id where there is one: it survives re-plugging
	Device string `json:"device"`           // what it is now, such as /dev/ttyUSB0
	UsedBy string `json:"used_by"`          // "" when nobody is seen to
	Stable bool   `json:"survives_replug"`  // the path does
	Denied bool   `json:"denied,omitempty"` // this user may not open it
}

// ports finds serial lines below root ("/" but in tests). Ports with a stable
// name come under that name only.
func ports(root string) []serialPort {
	var list []serialPort
	known := map[string]bool{}
	for _, pattern := range []string{"dev/serial/by-id/*", "dev/serial/by-path/*", "dev/ttyUSB*", "dev/ttyACM*", "dev/ttyAMA*", "dev/ttymxc*", "dev/ttyO[0-9]*", "dev/ttyS*"} {
		paths, _ := filepath.Glob(filepath.Join(root, pattern)) // a pattern of ours is never bad
		for _, path := range paths {
			device, err := filepath.EvalSymlinks(path)
			if err != nil || known[device] || isGhost(root, device) {
				continue
			}
			known[device] = true
			list = append(list, serialPort{
				Path: path, Device: device, Stable: strings.Contains(path, "/serial/by-"), UsedBy: userOf(root, device), Denied: !mayOpen(device),
			})
		}
	}
	return list
}

// isGhost reports whether a ttyS has no hardware behind it: the kernel makes
// some in advance.
func isGhost(root, device string) bool {
	name := filepath.Base(device)
	if !strings.HasPrefix(name, "ttyS") {
		return false
	}
	kind, err := os.ReadFile(filepath.Join(root, "sys/class/tty", name, "type"))
	return err != nil || strings.TrimSpace(string(kind)) == "0" // PORT_UNKNOWN of serial_core.h
}

func mayOpen(device string) bool {
	const readWrite = 6 // R_OK | W_OK of access(2)
	return syscall.Access(device, readWrite) == nil
}

// userOf names a process that has a device locked or open. It opens nothing:
// opening a serial line can move its handshake wires. Without root only locks
// of other users' processes are seen; the agent keeps one.
func userOf(root, device string) string {
	if pid := lockedBy(root, device); pid != "" {
		return nameOfProcess(root, pid)
	}
	links, _ := filepath.Glob(filepath.Join(root, "proc/[0-9]*/fd/*"))
	for _, link := range links {
		if to, err := os.Readlink(link); err == nil && to == device {
			return nameOfProcess(root, filepath.Base(filepath.Dir(filepath.Dir(link))))
		}
	}
	return ""
}

// lockedBy finds a lock on the device's node: proc_locks(5) ends a row with
// MAJOR:MINOR:INODE of the file system, of which the inode is enough here.
func lockedBy(root, device string) (pid string) {
	info, err := os.Stat(device)
	if err != nil {
		return ""
	}
	node, ok := info.Sys().(*syscall.Stat_t)
	text, err := os.ReadFile(filepath.Join(root, "proc/locks"))
	if !ok || err != nil {
		return ""
	}
	for line := range strings.Lines(string(text)) {
		fields := strings.Fields(line)
		i := slices.IndexFunc(fields, func(f string) bool { return strings.Count(f, ":") == 2 })
		if i > 0 && strings.HasSuffix(fields[i], ":"+strconv.FormatUint(node.Ino, 10)) {
			return fields[i-1]
		}
	}
	return ""
}

func nameOfProcess(root, pid string) string {
	name, err := os.ReadFile(filepath.Join(root, "proc", pid, "comm"))
	if err != nil {
		return "process " + pid
	}
	return fmt.Sprintf("%s (process %s)", strings.TrimSpace(string(name)), pid)
}

func listPorts(out io.Writer, asJSON bool) error {
	list := ports("/")
	return printed(out, asJSON, struct {
		Ports []serialPort `json:"ports"`
	}{append([]serialPort{}, list...)}, func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "no serial port was found; for Modbus TCP: pumpside probe --tcp HOST:502 --units 1-10")
			return
		}
		fmt.Fprintln(w, "PORT\tIS NOW\tUSED BY")
		for _, p := range list {
			fmt.Fprintf(w, "%s\t%s\t%s\n", p.Path, p.Device, p.words())
		}
		fmt.Fprintf(w, "\nnext: pumpside probe --rtu %s --baud 9600,19200 --parity even,none --units 1-10\n", list[0].Path)
	})
}

func (p serialPort) words() string {
	text := p.UsedBy
	if text == "" {
		text = "nobody"
	}
	if p.Denied {
		text += "; this user may not open it (see the group of ls -l)"
	}
	if !p.Stable {
		text += "; the name may change at re-plugging"
	}
	return text
}
