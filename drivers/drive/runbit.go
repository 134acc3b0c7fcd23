package drive

import "pumpside/drivers"

// A RunBit is the status of a drive that follows no profile: one bit that is 1
// while it runs, and perhaps one that is 1 while it has a fault.
type RunBit struct {
	Run      uint8 // 0..15
	Fault    uint8 // 0..15; only when HasFault
	HasFault bool
}

// Status reads word. A fault wins over running. With one bit nothing is
// undefined, so a word of all ones runs: give the row a not-available pattern
// when the device has one.
func (b RunBit) Status(word uint16) Status {
	switch {
	case b.HasFault && word>>b.Fault&1 == 1:
		return Status{State: drivers.DriveFault, Name: "fault"}
	case word>>b.Run&1 == 1:
		return Status{State: drivers.DriveRunning, Name: "running"}
	}
	return Status{State: drivers.DriveStopped, Name: "stopped"}
}
