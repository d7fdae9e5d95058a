package catalog

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"math"
	"slices"
	"time"
)

// Digest is a SHA-256 of content, or a sum of such (modulo 2^256). Sums do not
// depend on the order of their terms, so a catalog's digest can follow every
// change without reading the rest.
type Digest [sha256.Size]byte

// Plus is d + e modulo 2^256.
func (d Digest) Plus(e Digest) Digest {
	carry := 0
	for i := len(d) - 1; i >= 0; i-- {
		carry += int(d[i]) + int(e[i])
		d[i] = byte(carry)
		carry >>= 8
	}
	return d
}

// Minus is d - e modulo 2^256.
func (d Digest) Minus(e Digest) Digest {
	for i := range e {
		e[i] = ^e[i]
	}
	one := Digest{len(d) - 1: 1}
	return d.Plus(e).Plus(one)
}

// String is d in hexadecimal.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// ParseDigest reads what String wrote.
func ParseDigest(text string) (Digest, error) {
	var d Digest
	if b, err := hex.DecodeString(text); err != nil || copy(d[:], b) != len(b) || len(b) != len(d) {
		return Digest{}, fmt.Errorf("%q is not a digest: it has %d hexadecimal digits", text, 2*len(d))
	}
	return d, nil
}

// writer hashes fields as name and value. Fields that are empty or zero are
// left out, so a field added later leaves the digests of older records alone.
type writer struct {
	hash.Hash
	buf []byte
}

func digestOf(noun string) *writer {
	w := &writer{Hash: sha256.New(), buf: make([]byte, 0, 256)}
	w.bytes(noun)
	return w
}

func (w *writer) bytes(s string) {
	w.buf = binary.BigEndian.AppendUint32(w.buf[:0], uint32(len(s)))
	w.buf = append(w.buf, s...)
	w.Write(w.buf)
}

func (w *writer) text(name, value string) {
	if value != "" {
		w.bytes(name)
		w.bytes(value)
	}
}

func (w *writer) list(name string, values []string) {
	values = slices.Sorted(slices.Values(values))
	for _, v := range values {
		w.text(name, v)
	}
}

func (w *writer) word(name string, bits uint64) {
	w.bytes(name)
	w.buf = binary.BigEndian.AppendUint64(w.buf[:0], bits)
	w.Write(w.buf)
}

func (w *writer) number(name string, x float64) {
	if x != 0 {
		w.word(name, math.Float64bits(x))
	}
}

// optional tells an unknown number from zero.
func (w *writer) optional(name string, x *float64) {
	if x != nil {
		w.word(name, math.Float64bits(*x+0))
	}
}

func (w *writer) whole(name string, n int) {
	if n != 0 {
		w.word(name, uint64(n))
	}
}

func (w *writer) flag(name string, b bool) {
	if b {
		w.word(name, 1)
	}
}

func (w *writer) time(name string, t time.Time) {
	if !t.IsZero() {
		w.word(name, uint64(t.UnixMilli()))
	}
}

func (w *writer) sum() (d Digest) {
	w.Sum(d[:0])
	return d
}

// Digest is the digest of what the record says: not of its id, its revision
// number or who entered it when. The record must be normalised.
func (h Horn) Digest() Digest {
	w := digestOf("horn")
	w.text("label", h.Label)
	w.text("maker", h.Maker)
	w.text("model", h.Model)
	w.text("serial", h.Serial)
	w.text("instrument", string(h.Instrument))
	w.text("key", string(h.Key))
	w.whole("valves", h.Valves)
	w.text("receiver", string(h.Receiver))
	w.number("bore_mm", h.BoreMM)
	w.number("throw1_mm", h.Throw1MM)
	w.number("throw3_mm", h.Throw3MM)
	w.flag("loaner", h.Loaner)
	w.text("owner", h.Owner)
	w.list("tag", h.Tags)
	w.text("bore_geometry", h.BoreGeometry)
	w.flag("retired", h.Retired)
	return w.sum()
}

// Digest is the digest of what the record says, see [Horn.Digest].
func (m Mouthpiece) Digest() Digest {
	w := digestOf("mouthpiece")
	w.text("label", m.Label)
	w.text("maker", m.Maker)
	w.text("model", m.Model)
	w.text("serial", m.Serial)
	w.text("shank", string(m.Shank))
	w.number("rim_mm", m.RimMM)
	w.number("cup_cm3", m.CupCM3)
	w.number("cup_depth_mm", m.CupDepthMM)
	w.number("throat_mm", m.ThroatMM)
	w.number("throat_length_mm", m.ThroatLengthMM)
	w.number("backbore_mm", m.BackboreMM)
	w.text("backbore", m.BackboreCharacter)
	w.number("length_mm", m.LengthMM)
	w.text("owner", m.Owner)
	w.list("stock", m.Stock)
	w.list("tag", m.Tags)
	w.flag("retired", m.Retired)
	return w.sum()
}

// Digest is the digest of what the record says, see [Horn.Digest], but for the
// weights: they say nothing of what was measured.
func (p Player) Digest() Digest {
	w := digestOf("player")
	w.text("label", p.Label)
	w.text("level", p.Level)
	w.number("rim_min_mm", p.RimMinMM)
	w.number("rim_max_mm", p.RimMaxMM)
	w.number("cup_min_cm3", p.CupMinCM3)
	w.number("cup_max_cm3", p.CupMaxCM3)
	w.number("tolerance_cents", p.ToleranceCents)
	w.whole("range_low", int(p.RangeLow))
	w.whole("range_high", int(p.RangeHigh))
	w.list("tag", p.Tags)
	w.flag("retired", p.Retired)
	return w.sum()
}

// Content is the digest of what the session itself says: not of its id, its
// file, its gear or when it was recorded. The session must be normalised.
func (s Session) Content() Digest {
	w := digestOf("session")
	w.text("name", s.Name)
	w.text("contributor", s.Contributor)
	w.time("at", s.At)
	w.number("a4_hz", s.A4Hz)
	w.optional("temperature_c", s.TemperatureC)
	w.optional("slide_mm", s.SlideMM)
	w.optional("gap_mm", s.GapMM)
	w.text("dynamic", s.Dynamic)
	w.text("method", string(s.Method))
	w.text("remark", s.Remark)
	w.flag("adapter", s.Adapter)
	w.bytes("readings")
	for _, r := range slices.SortedFunc(slices.Values(s.Readings), CompareReadings) {
		w.reading(r)
	}
	return w.sum()
}

func (w *writer) reading(r Reading) {
	w.buf = append(w.buf[:0], byte(r.Slot.Valves), byte(r.Slot.Partial))
	w.buf = binary.BigEndian.AppendUint32(w.buf, uint32(r.Repeat))
	w.buf = binary.BigEndian.AppendUint64(w.buf, math.Float64bits(r.Cents))
	if r.Odd {
		w.buf = append(w.buf, 1)
	} else {
		w.buf = append(w.buf, 0)
	}
	w.Write(w.buf)
}

// SessionDigest is the digest of a session with its gear, from the session's
// [Session.Content] and the labels of the gear. Kept in two steps so that
// giving a horn another label does not mean reading its sessions again.
func SessionDigest(content Digest, horn, mouthpiece, player string) Digest {
	w := digestOf("session with gear")
	w.Write(content[:])
	w.text("horn", horn)
	w.text("mouthpiece", mouthpiece)
	w.text("player", player)
	return w.sum()
}
