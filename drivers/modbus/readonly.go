package modbus

import gomodbus "github.com/goburrow/modbus"

// Device identification travels as function 43 with type 14; the other types
// of function 43 are not reads.
const (
	funcEncapsulated   = 43
	typeIdentification = 14
)

// readsOnly reports whether a request PDU is one of the few that may leave:
// functions 1 to 4 with address and count, or 43/14. Everything else, and
// anything longer or shorter than these, could change a device.
func readsOnly(pdu []byte) bool {
	if len(pdu) == 0 {
		return false
	}
	switch pdu[0] {
	case gomodbus.FuncCodeReadCoils, gomodbus.FuncCodeReadDiscreteInputs,
		gomodbus.FuncCodeReadHoldingRegisters, gomodbus.FuncCodeReadInputRegisters:
		return len(pdu) == 5
	case funcEncapsulated:
		return len(pdu) == 4 && pdu[1] == typeIdentification
	}
	return false
}
