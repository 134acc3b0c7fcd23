package drive_test

import (
	"testing"

	"pumpside/drivers"
	"pumpside/drivers/drive"
)

const (
	unknown = drivers.DriveUnknown
	stopped = drivers.DriveStopped
	running = drivers.DriveRunning
	fault   = drivers.DriveFault
)

type vector struct {
	name string
	word uint16
	want drive.Status
}

func check(t *testing.T, read func(uint16) drive.Status, vectors []vector) {
	t.Helper()
	for _, tt := range vectors {
		t.Run(tt.name, func(t *testing.T) {
			if got := read(tt.word); got != tt.want {
				t.Errorf("0x%04X reads %+v, want %+v", tt.word, got, tt.want)
			}
		})
	}
}

// State table of IEC 61800-7-201; 0x0250 and 0x0208 as printed in public
// fieldbus documentation, the other words put together from its bits.
func TestCiA402StatusWords(t *testing.T) {
	check(t, drive.CiA402, []vector{
		{"running under remote control", 0x0237, drive.Status{running, false, "operation enabled"}},
		{"running with a warning", 0x02B7, drive.Status{running, true, "operation enabled"}},
		{"switched on but not enabled", 0x0233, drive.Status{stopped, false, "switched on"}},
		{"ready to switch on", 0x0231, drive.Status{stopped, false, "ready to switch on"}},
		{"switch on disabled after power-up", 0x0250, drive.Status{stopped, false, "switch on disabled"}},
		{"not ready while it tests itself", 0x0000, drive.Status{stopped, false, "not ready to switch on"}},
		{"fault", 0x0208, drive.Status{fault, false, "fault"}},
		{"fault reaction", 0x021F, drive.Status{fault, false, "fault reaction active"}},
		{"quick stop", 0x0217, drive.Status{stopped, false, "quick stop active"}},
		{"ready but quick stop active is no state", 0x0001, drive.Status{unknown, false, "undefined"}},
		{"enabled but not switched on is no state", 0x0025, drive.Status{unknown, false, "undefined"}},
		{"a dead register does not run", 0xFFFF, drive.Status{unknown, false, "undefined"}},
	})
}

// The standard's table leaves bit 5 free in four of the eight states, so
// 4·2 + 4 of the 2^6 patterns of bits 0-3, 5 and 6 are defined.
func TestCiA402DefinesTwelveOfSixtyFourPatterns(t *testing.T) {
	states := map[string]int{}
	for bits := range uint16(64) {
		word := bits&0x0F | bits&0x30<<1
		states[drive.CiA402(word).Name]++
	}
	want := map[string]int{
		"not ready to switch on": 2, "switch on disabled": 2, "fault reaction active": 2, "fault": 2,
		"ready to switch on": 1, "switched on": 1, "operation enabled": 1, "quick stop active": 1,
		"undefined": 52,
	}
	if len(states) != len(want) {
		t.Errorf("states = %v, want %v", states, want)
	}
	for name, n := range want {
		if states[name] != n {
			t.Errorf("%s: %d patterns, want %d", name, states[name], n)
		}
	}
}

func TestCiA402IgnoresBitsThatAreNotStateBits(t *testing.T) {
	const stateBits = 0x006F
	for word := range 1 << 16 {
		got, want := drive.CiA402(uint16(word)), drive.CiA402(uint16(word)&stateBits)
		want.Warning = want.State != unknown && word&0x80 != 0
		if got != want {
			t.Fatalf("0x%04X reads %+v, want %+v", word, got, want)
		}
	}
}

// State diagram of IEC 61800-7-203. Bits 4 and 5 are 1 when healthy.
func TestPROFIdriveStatusWords(t *testing.T) {
	check(t, drive.PROFIdrive, []vector{
		{"running", 0x0237, drive.Status{running, false, "operation enabled"}},
		{"running at its setpoint", 0x0737, drive.Status{running, false, "operation enabled"}},
		{"running with a warning", 0x02B7, drive.Status{running, true, "operation enabled"}},
		{"ready for operation", 0x0233, drive.Status{stopped, false, "ready for operation"}},
		{"ready for switching on", 0x0231, drive.Status{stopped, false, "ready for switching on"}},
		{"not ready for switching on", 0x0230, drive.Status{stopped, false, "not ready for switching on"}},
		{"switching on inhibited", 0x0270, drive.Status{stopped, false, "switching on inhibited"}},
		{"quick stop ramps down", 0x0217, drive.Status{stopped, false, "quick stop active"}},
		{"fault", 0x0238, drive.Status{fault, false, "fault present"}},
		{"fault and inhibited", 0x0278, drive.Status{fault, false, "fault present"}},
		{"fault while still ramping down", 0x023F, drive.Status{fault, false, "fault present"}},
		{"enabled under a coast stop contradicts itself", 0x0227, drive.Status{unknown, false, "undefined"}},
		{"enabled and inhibited contradicts itself", 0x0277, drive.Status{unknown, false, "undefined"}},
		{"enabled but not ready contradicts itself", 0x0236, drive.Status{unknown, false, "undefined"}},
		{"a dead register does not run", 0xFFFF, drive.Status{unknown, false, "undefined"}},
	})
}

func TestPROFIdriveRunsInExactlyOnePatternOfItsStateBits(t *testing.T) {
	for word := range uint16(128) {
		got := drive.PROFIdrive(word).State
		if (got == running) != (word == 0x37) {
			t.Errorf("0x%02X is %v", word, got)
		}
		contradicts := word&0x44 == 0x44
		if hasFault := word&0x08 != 0 && !contradicts; (got == fault) != hasFault {
			t.Errorf("0x%02X is %v, fault bit %v", word, got, hasFault)
		}
	}
}

func TestRunBit(t *testing.T) {
	plain := drive.RunBit{Run: 2}
	check(t, plain.Status, []vector{
		{"its bit runs", 0x0004, drive.Status{running, false, "running"}},
		{"other bits do not", 0xFFFB, drive.Status{stopped, false, "stopped"}},
	})
	faulty := drive.RunBit{Run: 0, Fault: 15, HasFault: true}
	check(t, faulty.Status, []vector{
		{"runs without fault", 0x0001, drive.Status{running, false, "running"}},
		{"a fault wins over running", 0x8001, drive.Status{fault, false, "fault"}},
		{"a fault while stopped", 0x8000, drive.Status{fault, false, "fault"}},
		{"neither", 0x7FFE, drive.Status{stopped, false, "stopped"}},
	})
}

// Classes and codes of IEC 61800-7-201, values from memory.
func TestFaultsInWords(t *testing.T) {
	tests := []struct {
		code uint16
		want string
	}{
		{0x0000, "no fault"},
		{0x1000, "generic error (error code 0x1000)"},
		{0x2310, "current on the output side (error code 0x2310)"},
		{0x2F00, "current (error code 0x2F00)"},
		{0x3210, "DC link voltage (error code 0x3210)"},
		{0x4310, "drive temperature (error code 0x4310)"},
		{0x5300, "device hardware (error code 0x5300)"},
		{0x6010, "device software (error code 0x6010)"},
		{0x7305, "additional modules (error code 0x7305)"},
		{0x8130, "communication (error code 0x8130)"},
		{0x8611, "monitoring or communication (error code 0x8611)"},
		{0x9000, "external error (error code 0x9000)"},
		{0xA123, "class not defined (error code 0xA123)"},
		{0x0007, "class not defined (error code 0x0007)"},
		{0xFF01, "additional functions (error code 0xFF01)"},
	}
	for _, tt := range tests {
		t.Run(tt.want, func(t *testing.T) {
			if got := drive.Fault(tt.code); got != tt.want {
				t.Errorf("Fault(0x%04X) = %q, want %q", tt.code, got, tt.want)
			}
		})
	}
}
