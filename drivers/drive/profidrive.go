package drive

import "pumpside/drivers"

// profidrive is the general state diagram of IEC 61800-7-203. The bits under
// the masks: 0x01 ready for switching on, 0x02 ready for operation,
// 0x04 operation enabled, 0x08 fault present, 0x10 no coast stop,
// 0x20 no quick stop (both 1 when healthy), 0x40 switching on inhibited.
//
// Operation enabled together with switching on inhibited, or under a coast
// stop, contradicts itself: no row.
var profidrive = []state{
	{0x48, 0x08, "fault present", drivers.DriveFault},
	{0x4C, 0x48, "fault present", drivers.DriveFault},
	{0x7F, 0x37, "operation enabled", drivers.DriveRunning},
	{0x6F, 0x07, "quick stop active", drivers.DriveStopped},
	{0x4C, 0x40, "switching on inhibited", drivers.DriveStopped},
	{0x4F, 0x03, "ready for operation", drivers.DriveStopped},
	{0x4F, 0x01, "ready for switching on", drivers.DriveStopped},
	{0x4F, 0x00, "not ready for switching on", drivers.DriveStopped},
}

// PROFIdrive reads a status word 1 (ZSW1) of IEC 61800-7-203. A word whose bits
// contradict each other is unknown.
func PROFIdrive(word uint16) Status { return match(profidrive, word, 0x0080) }
