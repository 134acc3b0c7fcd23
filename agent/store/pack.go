package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
	"time"
)

// counterRow is the counters of all pumps at one save, as they lie in the one
// row of table counters and in the copies beside the state file.
type counterRow struct {
	Save uint64    // counts saves over the life of the installation: the greater is the newer, whatever clocks did
	At   time.Time // wall time of the save, for people
	Of   map[string][]byte
}

const (
	packMagic = "pcr1"
	packHead  = len(packMagic) + 4 + 4 // magic, CRC-32C of the rest, length of the rest

	// packRound keeps the row's length steady, so that SQLite overwrites it in
	// place and leaves alone the pages that did not change.
	packRound = 512
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// pack appends r to dst: names in order, every part with its length before it,
// then zeros up to a multiple of packRound.
func (r counterRow) pack(dst []byte) []byte {
	start := len(dst)
	dst = append(dst, packMagic...)
	dst = append(dst, make([]byte, packHead-len(packMagic))...)
	body := len(dst)
	dst = binary.LittleEndian.AppendUint64(dst, r.Save)
	dst = binary.LittleEndian.AppendUint64(dst, uint64(r.At.UnixMilli()))
	for _, name := range sortedKeys(r.Of) {
		dst = appendPart(dst, []byte(name))
		dst = appendPart(dst, r.Of[name])
	}
	binary.LittleEndian.PutUint32(dst[start+len(packMagic):], crc32.Checksum(dst[body:], castagnoli))
	binary.LittleEndian.PutUint32(dst[start+len(packMagic)+4:], uint32(len(dst)-body))
	for (len(dst)-start)%packRound != 0 {
		dst = append(dst, 0)
	}
	return dst
}

func appendPart(dst, part []byte) []byte {
	return append(binary.AppendUvarint(dst, uint64(len(part))), part...)
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// unpackCounters reads what pack wrote. It copies nothing but names.
func unpackCounters(b []byte) (counterRow, error) {
	if len(b) < packHead+16 || string(b[:len(packMagic)]) != packMagic {
		return counterRow{}, errors.New("counters: not a packed row")
	}
	sum, size := binary.LittleEndian.Uint32(b[len(packMagic):]), binary.LittleEndian.Uint32(b[len(packMagic)+4:])
	b = b[packHead:]
	if size < 16 || uint64(size) > uint64(len(b)) {
		return counterRow{}, fmt.Errorf("counters: %d bytes where %d were written", len(b), size)
	}
	b = b[:size]
	if crc32.Checksum(b, castagnoli) != sum {
		return counterRow{}, errors.New("counters: checksum does not match")
	}
	r := counterRow{
		Save: binary.LittleEndian.Uint64(b),
		At:   time.UnixMilli(int64(binary.LittleEndian.Uint64(b[8:]))).UTC(),
		Of:   map[string][]byte{},
	}
	for b = b[16:]; len(b) > 0; {
		var name, body []byte
		var ok1, ok2 bool
		name, b, ok1 = cutPart(b)
		body, b, ok2 = cutPart(b)
		if !ok1 || !ok2 {
			return counterRow{}, errors.New("counters: a part is cut short")
		}
		r.Of[string(name)] = body
	}
	return r, nil
}

func cutPart(b []byte) (part, rest []byte, ok bool) {
	size, n := binary.Uvarint(b)
	if n <= 0 || size > uint64(len(b)-n) {
		return nil, nil, false
	}
	return b[n : n+int(size)], b[n+int(size):], true
}

// The first byte of a stored body, a block's or a state's, says how the rest is
// kept.
const (
	blockRaw     = 0
	blockDeflate = 1 // RFC 1951

	// maxBlock bounds what a damaged body may grow to when it is read.
	maxBlock = 16 << 20
)

// squeeze returns body as it is stored: deflated where that is smaller.
func squeeze(body []byte) []byte {
	var out bytes.Buffer
	out.WriteByte(blockDeflate)
	// Neither call can fail: the level is a constant, the writer is memory.
	z, _ := flate.NewWriter(&out, flate.DefaultCompression)
	_, _ = z.Write(body)
	_ = z.Close()
	if out.Len() > len(body) {
		return append([]byte{blockRaw}, body...)
	}
	return out.Bytes()
}

// unsqueeze gives back what squeeze was given.
func unsqueeze(b []byte) ([]byte, error) {
	switch {
	case len(b) > 0 && b[0] == blockRaw:
		return b[1:], nil
	case len(b) > 0 && b[0] == blockDeflate:
		body, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(b[1:])), maxBlock+1))
		if err == nil && len(body) > maxBlock {
			err = fmt.Errorf("longer than %d bytes", maxBlock)
		}
		if err != nil {
			return nil, fmt.Errorf("deflated: %w", err)
		}
		return body, nil
	}
	return nil, errors.New("unknown encoding")
}
