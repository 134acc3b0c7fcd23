package modbus

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	gomodbus "github.com/goburrow/modbus"
)

// Object ids of a device identification (MODBUS Application Protocol V1.1b3,
// §6.21). Every device that answers at all has the first three.
const (
	VendorName         = 0
	ProductCode        = 1
	Revision           = 2
	VendorURL          = 3
	ProductName        = 4
	ModelName          = 5
	UserApplicationTag = 6
)

// A Depth says how much of its identification a device is asked for.
type Depth byte

// Depths; each includes the ones before it.
const (
	Basic    Depth = 1 // objects 0 to 2
	Regular  Depth = 2 // objects 3 to 127 as well
	Extended Depth = 3 // objects 128 to 255, the maker's own
)

// An Identification has the texts of a device by object id, as it sent them:
// mostly ASCII, but nothing makes sure of it.
type Identification map[byte]string

// Identify asks a unit who it is, in as many transactions as it takes. Zero
// timeout means the bus's; it bounds each transaction. Errors are those of
// Read without the range; most devices refuse with IllegalFunction.
func (b *Bus) Identify(ctx context.Context, id byte, depth Depth, timeout time.Duration) (Identification, error) {
	if err := checkUnit(id, b.settings.Kind); err != nil {
		return nil, wrapFault(Invalid, "not asked", err)
	}
	// An answer is as long as that to 125 registers at most.
	r := Request{Unit: id, Table: HoldingRegisters, Count: 125, Timeout: timeout}
	found := Identification{}
	for next := byte(0); ; {
		part, err := b.identifyFrom(ctx, r, depth, next)
		if err != nil {
			b.wire.facts.Faults[ReasonOf(err)]++
			return nil, fmt.Errorf("unit %d identification: %w", id, err)
		}
		maps.Copy(found, part.objects)
		if !part.more {
			return found, nil
		}
		if part.next <= next {
			return nil, faultf(Framing, "unit %d identification: device goes on at object %d after object %d", id, part.next, next)
		}
		next = part.next
	}
}

func (b *Bus) identifyFrom(ctx context.Context, r Request, depth Depth, first byte) (identification, error) {
	u, err := b.begin(ctx, r)
	if err != nil {
		return identification{}, err
	}
	pdu, err := u.exchange(&b.wire, &gomodbus.ProtocolDataUnit{
		FunctionCode: funcEncapsulated, Data: []byte{typeIdentification, byte(depth), first},
	})
	if err := b.end(u, err); err != nil {
		return identification{}, err
	}
	return parseIdentification(pdu)
}

// exchange does for any PDU what goburrow's client does for those it knows.
func (u *unit) exchange(t gomodbus.Transporter, request *gomodbus.ProtocolDataUnit) ([]byte, error) {
	frame, err := u.packager.Encode(request)
	if err != nil {
		return nil, err
	}
	answer, err := t.Send(frame)
	if err != nil {
		return nil, err
	}
	pdu, err := u.packager.Decode(answer)
	if err != nil {
		return nil, err
	}
	if pdu.FunctionCode != request.FunctionCode {
		return nil, &gomodbus.ModbusError{FunctionCode: pdu.FunctionCode, ExceptionCode: pdu.Data[0]}
	}
	return append([]byte{pdu.FunctionCode}, pdu.Data...), nil
}

// An identification is one answer to function 43/14.
type identification struct {
	objects Identification
	more    bool // there are more objects, from next on
	next    byte
}

// Where things stand in the answer PDU to 43/14. Objects follow the header,
// each with its id, its length and that many bytes.
const (
	idMore    = 4 // 0xFF if there are more objects, else 0
	idNext    = 5
	idObjects = 6
	idHeader  = 7
)

// identificationSize returns how many bytes the answer PDU to 43/14 has, as
// far as got tells.
func identificationSize(got []byte) (int, error) {
	if len(got) > 1 && got[1] != typeIdentification {
		return 0, faultf(Framing, "answer has type %d, want %d", got[1], typeIdentification)
	}
	if len(got) < idHeader {
		return idHeader, nil
	}
	size := idHeader
	for range got[idObjects] {
		size += 2 // id and length
		if len(got) < size {
			break
		}
		size += int(got[size-1])
	}
	if size > 253 {
		return 0, faultf(Framing, "answer has a PDU of at least %d bytes, want at most 253", size)
	}
	return size, nil
}

// parseIdentification reads a PDU of identificationSize.
func parseIdentification(pdu []byte) (identification, error) {
	size, err := identificationSize(pdu)
	if err != nil {
		return identification{}, err
	}
	if size != len(pdu) {
		return identification{}, faultf(Framing, "identification has %d bytes, want %d", len(pdu), size)
	}
	part := identification{objects: Identification{}, more: pdu[idMore] == 0xFF, next: pdu[idNext]}
	for rest := pdu[idHeader:]; len(rest) > 0; {
		id, text := rest[0], rest[2:2+int(rest[1])]
		part.objects[id] = string(text)
		rest = rest[2+len(text):]
	}
	return part, nil
}

// IDs returns the object ids that are there, in order.
func (d Identification) IDs() []byte { return slices.Sorted(maps.Keys(d)) }
