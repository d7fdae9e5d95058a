package recording

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Numbers of WAV headers (Microsoft, "Multimedia Programming Interface and Data
// Specifications 1.0", 1991, and mmreg.h; from memory): formats of samples, and
// a length that says "see elsewhere" (EBU Tech 3306, RF64) or that was never
// filled in.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
	lengthOpen    = 0xFFFFFFFF
)

// wavDecoder reads PCM of 8 to 32 bits and floats of 32 and 64 bits, in RIFF and
// RF64 files. No more is ever held than a block of samples, whatever the header
// claims.
type wavDecoder struct {
	r         io.Reader
	Format    Format
	width     int   // bytes of a sample
	left      int64 // bytes of samples to come; negative when the header does not say
	raw       []byte
	sample    func([]byte) float64
	exhausted bool
}

func (d *wavDecoder) format() Format { return d.Format }

// openWAV reads up to the first sample.
func openWAV(r *bufio.Reader) (*wavDecoder, error) {
	var head [12]byte
	if _, err := io.ReadFull(r, head[:]); err != nil || string(head[8:]) != "WAVE" {
		return nil, &badFile{"begins like a WAV file, but is none", "save the recording as WAV or FLAC"}
	}
	d := &wavDecoder{r: r}
	var long int64 // length of the samples by RF64
	for {
		id, size, err := chunkHead(r)
		if err != nil {
			return nil, &badFile{"holds no samples", "record again, or check that the file was copied whole"}
		}
		switch {
		case id == "data" && d.sample == nil:
			return nil, &badFile{"does not say how its samples are written", "save it again as WAV or FLAC"}
		case id == "data":
			d.measure(size, long)
			return d, nil
		case id == "fmt ":
			err = d.readFormat(r, size)
		case id == "ds64" && size >= 16:
			var sizes [16]byte
			if _, err = io.ReadFull(r, sizes[:]); err == nil {
				long = int64(binary.LittleEndian.Uint64(sizes[8:]))
				err = skip(r, size, 16)
			}
		default:
			err = skip(r, size, 0)
		}
		if err != nil {
			return nil, cutHead(err)
		}
	}
}

// cutHead is the error of a header that can't be read to its end.
func cutHead(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return &badFile{"ends before its first sample", "record again, or check that the file was copied whole"}
	}
	return err
}

func chunkHead(r io.Reader) (id string, size int64, err error) {
	var head [8]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return "", 0, err
	}
	return string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:])), nil
}

// skip passes over what is left of a chunk of a size, which is padded to an even
// length, after some bytes of it were read.
func skip(r io.Reader, size, read int64) error {
	_, err := io.CopyN(io.Discard, r, size+size%2-read)
	return err
}

// readFormat reads the chunk that says how samples are written.
func (d *wavDecoder) readFormat(r io.Reader, size int64) error {
	var b [40]byte
	n := min(size, int64(len(b)))
	if n < 16 {
		return &badFile{"has a header that is too short", "save it again as WAV or FLAC"}
	}
	if _, err := io.ReadFull(r, b[:n]); err != nil {
		return err
	}
	kind := binary.LittleEndian.Uint16(b[0:])
	if kind == wavExtensible && n >= 26 {
		kind = binary.LittleEndian.Uint16(b[24:]) // the sub-format begins with the format
	}
	block := int(binary.LittleEndian.Uint16(b[12:]))
	d.Format = Format{
		Container: "WAV", Rate: int(min(binary.LittleEndian.Uint32(b[4:]), math.MaxInt32)), Channels: int(binary.LittleEndian.Uint16(b[2:])),
		Bits: int(binary.LittleEndian.Uint16(b[14:])), Float: kind == wavFloat,
	}
	if err := d.Format.check(); err != nil {
		return err
	}
	d.width = block / d.Format.Channels
	if err := d.choose(kind, block); err != nil {
		return err
	}
	return skip(r, size, n)
}

// choose finds how to read a sample. Whole numbers fill their bytes from the
// top, so the width of the bytes is their scale.
func (d *wavDecoder) choose(kind uint16, block int) error {
	f := d.Format
	if block != d.width*f.Channels || (f.Bits+7)/8 != d.width {
		return &badFile{fmt.Sprintf("contradicts itself: %d channels of %d bits in %d bytes", f.Channels, f.Bits, block), "save it again as WAV or FLAC"}
	}
	little := binary.LittleEndian
	switch {
	case kind == wavPCM && d.width == 1:
		d.sample = func(b []byte) float64 { return (float64(b[0]) - 128) / 128 }
	case kind == wavPCM && d.width == 2:
		d.sample = func(b []byte) float64 { return float64(int16(little.Uint16(b))) / (1 << 15) }
	case kind == wavPCM && d.width == 3:
		d.sample = func(b []byte) float64 {
			return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
		}
	case kind == wavPCM && d.width == 4:
		d.sample = func(b []byte) float64 { return float64(int32(little.Uint32(b))) / (1 << 31) }
	case kind == wavFloat && f.Bits == 32:
		d.sample = func(b []byte) float64 { return finite(float64(math.Float32frombits(little.Uint32(b)))) }
	case kind == wavFloat && f.Bits == 64:
		d.sample = func(b []byte) float64 { return finite(math.Float64frombits(little.Uint64(b))) }
	default:
		return &badFile{fmt.Sprintf("has samples of format %d with %d bits", kind, f.Bits), "save it as PCM of 16 or 24 bits"}
	}
	return nil
}

// loudest bounds samples of floats: a damaged one must not outweigh all others.
const loudest = 1e6

func finite(x float64) float64 {
	if math.IsNaN(x) || math.Abs(x) > loudest {
		return 0
	}
	return x
}

// measure takes the length of the samples from the header. Recorders that were
// switched off leave it at nought or open.
func (d *wavDecoder) measure(size, long int64) {
	if size == lengthOpen && long > 0 {
		size = long
	}
	if size == 0 || size == lengthOpen {
		d.left = -1
		return
	}
	d.left = size
	d.Format.Frames = size / int64(d.width*d.Format.Channels)
}

func (d *wavDecoder) read(left, right []float64) (int, error) {
	step := d.width * d.Format.Channels
	if len(d.raw) < len(left)*step {
		d.raw = make([]byte, len(left)*step)
	}
	want := d.raw[:len(left)*step]
	if d.left >= 0 {
		want = want[:min(int64(len(want)), d.left/int64(step)*int64(step))]
	}
	if len(want) == 0 || d.exhausted {
		return 0, io.EOF
	}
	got, err := io.ReadFull(d.r, want)
	if d.left >= 0 {
		d.left -= int64(got)
	}
	n := got / step
	d.convert(want[:n*step], left, right)
	switch {
	case err == nil:
		return n, nil
	case !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
		return n, err
	}
	d.exhausted = true
	if d.left > 0 {
		return n, errCut
	}
	return n, io.EOF
}

func (d *wavDecoder) convert(raw []byte, left, right []float64) {
	step := d.width * d.Format.Channels
	for i := 0; i*step < len(raw); i++ {
		left[i] = d.sample(raw[i*step:])
		if d.Format.Channels == 2 {
			right[i] = d.sample(raw[i*step+d.width:])
		}
	}
}
