package drive

import "fmt"

// faultClasses are the classes of the error code (object 0x603F) by its first
// hexadecimal digit: IEC 61800-7-201, values from memory.
var faultClasses = [16]string{
	0x1: "generic error",
	0x2: "current",
	0x3: "voltage",
	0x4: "temperature",
	0x5: "device hardware",
	0x6: "device software",
	0x7: "additional modules",
	0x8: "monitoring or communication",
	0x9: "external error",
	0xF: "additional functions",
}

// faultGroups narrow a class by the first two digits: IEC 61800-7-201, values
// from memory. A group not listed is told by its class alone.
var faultGroups = map[uint16]string{
	0x21: "current on the input side",
	0x22: "current inside the device",
	0x23: "current on the output side",
	0x31: "mains voltage",
	0x32: "DC link voltage",
	0x33: "output voltage",
	0x41: "ambient temperature",
	0x42: "device temperature",
	0x43: "drive temperature",
	0x44: "supply temperature",
	0x81: "communication",
}

// Fault puts an error code of IEC 61800-7-201 (object 0x603F) into words, such
// as "DC link voltage (error code 0x3210)". 0 is "no fault". It holds for drives
// that follow this profile only: other makers number their faults as they like,
// and their codes would come out in the wrong words.
func Fault(code uint16) string {
	if code == 0 {
		return "no fault"
	}
	words := faultGroups[code>>8]
	if words == "" {
		words = FaultClass(code)
	}
	return fmt.Sprintf("%s (error code 0x%04X)", words, code)
}

// FaultClass gives the class of code by its first hexadecimal digit, such as
// "voltage"; "class not defined" where the standard has none.
func FaultClass(code uint16) string {
	if words := faultClasses[code>>12]; words != "" {
		return words
	}
	return "class not defined"
}
