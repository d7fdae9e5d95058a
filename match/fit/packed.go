package fit

import (
	"encoding/binary"
	"errors"
	"math"

	"centwise/catalog"
)

// Records are stored packed: field after field as varints, strings with their
// length before them, since taking thousands of records apart by reflection would
// take longer than most questions.

// packItems packs mouthpieces or players.
func packItems(records []itemRecord) []byte {
	b := binary.AppendUvarint(nil, uint64(len(records)))
	for i := range records {
		b = records[i].pack(b)
	}
	return b
}

// unpackItems undoes packItems.
func unpackItems(b []byte) ([]itemRecord, error) {
	u := &unpacker{text: string(b)}
	records := make([]itemRecord, u.count())
	for i := range records {
		records[i].unpack(u)
	}
	return records, u.done()
}

// packHorns packs horns.
func packHorns(records []hornRecord) []byte {
	b := binary.AppendUvarint(nil, uint64(len(records)))
	for i := range records {
		b = records[i].Record.pack(b)
		b = binary.AppendVarint(b, int64(records[i].Transposition))
		b = binary.AppendVarint(b, int64(records[i].Players))
	}
	return b
}

// unpackHorns undoes packHorns.
func unpackHorns(b []byte) ([]hornRecord, error) {
	u := &unpacker{text: string(b)}
	records := make([]hornRecord, u.count())
	for i := range records {
		h := &records[i]
		h.Record.unpack(u)
		h.Transposition, h.Players = int(u.integer()), int(u.integer())
	}
	return records, u.done()
}

// packPairs packs the measured pairs as fixed numbers of 32 bits, little-endian.
func packPairs(pairs []pairRecord) []byte {
	b := make([]byte, 0, pairBytes*len(pairs))
	for _, p := range pairs {
		for _, n := range []int32{p.horn, p.mouthpiece, p.sessions, p.at} {
			b = binary.LittleEndian.AppendUint32(b, uint32(n))
		}
	}
	return b
}

const pairBytes = 16

// unpackPairs undoes packPairs.
func unpackPairs(b []byte) ([]pairRecord, error) {
	if len(b)%pairBytes != 0 {
		return nil, errUnpack
	}
	pairs := make([]pairRecord, len(b)/pairBytes)
	for i := range pairs {
		n := func(at int) int32 { return int32(binary.LittleEndian.Uint32(b[pairBytes*i+4*at:])) }
		pairs[i] = pairRecord{n(0), n(1), n(2), n(3)}
	}
	return pairs, nil
}

func (r *itemRecord) pack(b []byte) []byte {
	for _, text := range []string{string(r.ID), r.Label, r.Design} {
		b = binary.AppendUvarint(b, uint64(len(text)))
		b = append(b, text...)
	}
	for _, n := range []int64{int64(r.Part), int64(r.Sessions), int64(r.DesignSessions)} {
		b = binary.AppendVarint(b, n)
	}
	if !r.HasDimensions {
		return append(b, 0)
	}
	b = append(b, 1)
	for _, v := range r.Dimensions {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

func (r *itemRecord) unpack(u *unpacker) {
	r.ID, r.Label, r.Design = catalog.ID(u.string()), u.string(), u.string()
	r.Part, r.Sessions, r.DesignSessions = int32(u.integer()), int(u.integer()), int(u.integer())
	if r.HasDimensions = u.take(1) == "\x01"; !r.HasDimensions {
		return
	}
	for i := range r.Dimensions {
		r.Dimensions[i] = math.Float64frombits(binary.LittleEndian.Uint64([]byte(u.take(8))))
	}
}

// unpacker takes packed records apart. Strings are parts of its text. After an
// error everything is nought.
type unpacker struct {
	text string
	bad  bool
}

var errUnpack = errors.New("fit: the stored records are damaged")

// take is the next n bytes; zeros after an error.
func (u *unpacker) take(n int) string {
	if u.bad || n > len(u.text) {
		u.bad = true
		return "\x00\x00\x00\x00\x00\x00\x00\x00"[:min(n, 8)]
	}
	out := u.text[:n]
	u.text = u.text[n:]
	return out
}

func (u *unpacker) unsigned() uint64 {
	var x uint64
	for shift := 0; shift < 64; shift += 7 {
		b := u.take(1)[0]
		x |= uint64(b&0x7f) << shift
		if b < 0x80 {
			return x
		}
	}
	u.bad = true
	return 0
}

// integer undoes the zigzag of binary.AppendVarint.
func (u *unpacker) integer() int64 {
	x := u.unsigned()
	return int64(x>>1) ^ -int64(x&1)
}

func (u *unpacker) string() string {
	n := u.unsigned()
	if n > uint64(len(u.text)) {
		u.bad = true
		return ""
	}
	return u.take(int(n))
}

// count is a number of records, each of which has several bytes.
func (u *unpacker) count() int {
	n := u.unsigned()
	if n > uint64(len(u.text)) {
		u.bad = true
		return 0
	}
	return int(n)
}

func (u *unpacker) done() error {
	if u.bad || u.text != "" {
		return errUnpack
	}
	return nil
}
