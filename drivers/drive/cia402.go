package drive

import "pumpside/drivers"

// cia402 is the table of states of IEC 61800-7-201. The bits under the masks:
// 0x01 ready to switch on, 0x02 switched on, 0x04 operation enabled,
// 0x08 fault, 0x20 quick stop (0 is active), 0x40 switch on disabled.
//
// A quick stop is on its way to standstill and may hold there for days, so it
// is stopped. A drive that reacts to a fault has the fault already.
var cia402 = []state{
	{0x4F, 0x00, "not ready to switch on", drivers.DriveStopped},
	{0x4F, 0x40, "switch on disabled", drivers.DriveStopped},
	{0x6F, 0x21, "ready to switch on", drivers.DriveStopped},
	{0x6F, 0x23, "switched on", drivers.DriveStopped},
	{0x6F, 0x27, "operation enabled", drivers.DriveRunning},
	{0x6F, 0x07, "quick stop active", drivers.DriveStopped},
	{0x4F, 0x0F, "fault reaction active", drivers.DriveFault},
	{0x4F, 0x08, "fault", drivers.DriveFault},
}

// CiA402 reads a status word (object 0x6041) of IEC 61800-7-201, also known as
// the CiA 402 profile. Of the 64 patterns of its state bits 12 are defined; any
// other is unknown.
func CiA402(word uint16) Status { return match(cia402, word, 0x0080) }
