// Package drive says in words what a motor drive's status word means.
//
// [CiA402] reads the status word of IEC 61800-7-201 (object 0x6041),
// [PROFIdrive] that of IEC 61800-7-203 (ZSW1), and a [RunBit] the plain bit of
// drives that have neither. [Fault] puts an IEC 61800-7-201 error code into
// words.
//
// # Doubt
//
// A pattern the standard does not define is [drivers.DriveUnknown], never a
// guess: a register that reads 0xFFFF because the drive is gone must not count
// run hours. Running means that the drive function is enabled, not that the
// shaft turns: a drive holds a motor at zero speed too.
package drive
