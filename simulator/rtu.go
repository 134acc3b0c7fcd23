package simulator

import "encoding/binary"

const (
	shortestRTU = 4 // address, function, CRC
	longestRTU  = 256
)

// crcTable is the CRC-16 of Modbus over serial line V1.02, §6.2.2: polynomial
// 0x8005 reflected (0xA001), start 0xFFFF, low byte sent first.
var crcTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ 0xa001
			} else {
				c >>= 1
			}
		}
		t[i] = c
	}
	return t
}()

func crc(frame []byte) uint16 {
	c := uint16(0xffff)
	for _, b := range frame {
		c = c>>8 ^ crcTable[byte(c)^b]
	}
	return c
}

// sealed appends the CRC.
func sealed(frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(frame, crc(frame))
}

// intact reports whether a frame ends in its own CRC.
func intact(frame []byte) bool {
	n := len(frame) - 2
	return n >= 2 && binary.LittleEndian.Uint16(frame[n:]) == crc(frame[:n])
}

// requestLength is how long the RTU request that starts here is: 0 when more
// bytes are needed to say, −1 when the function does not tell.
func requestLength(frame []byte) int {
	if len(frame) < 2 {
		return 0
	}
	switch f := frame[1]; {
	case f >= 1 && f <= 6:
		return 8
	case f == 15 || f == 16:
		if len(frame) < 7 {
			return 0
		}
		return 9 + int(frame[6])
	case f == encapsulated:
		return 7
	}
	return -1
}
