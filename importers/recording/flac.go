package recording

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/mewkiz/flac"
	flacframe "github.com/mewkiz/flac/frame"
)

// flacDecoder gives the samples of a FLAC file, frame by frame.
type flacDecoder struct {
	source *watched
	stream *flac.Stream
	Format Format
	scale  float64
	frame  *flacframe.Frame
	at     int   // in the frame
	given  int64 // samples of each channel so far
	ended  error
}

// watched remembers what went wrong with reading, which is no fault of the file.
type watched struct {
	io.Reader
	err error
}

func (w *watched) Read(p []byte) (int, error) {
	n, err := w.Reader.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		w.err = err
	}
	return n, err
}

func (d *flacDecoder) format() Format { return d.Format }

// guard turns a panic of the decoder on damaged input into an error.
func guard(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("the decoder failed: %v", p)
	}
}

func openFLAC(r io.Reader) (d *flacDecoder, err error) {
	defer guard(&err)
	source := &watched{Reader: r}
	stream, err := flac.New(source)
	if source.err != nil {
		return nil, source.err
	}
	if err != nil {
		return nil, &badFile{"has a FLAC header that can't be read: " + err.Error(), "check that the file was copied whole, or record again"}
	}
	info := stream.Info
	if info.BitsPerSample < 4 || info.BitsPerSample > 32 {
		return nil, &badFile{fmt.Sprintf("says that it has %d bits a sample", info.BitsPerSample), "save it with 16 or 24"}
	}
	return &flacDecoder{source: source, stream: stream, scale: math.Exp2(1 - float64(info.BitsPerSample)), Format: Format{
		Container: "FLAC", Rate: int(info.SampleRate), Channels: int(info.NChannels), Bits: int(info.BitsPerSample), Frames: int64(min(info.NSamples, math.MaxInt64)),
	}}, nil
}

func (d *flacDecoder) read(left, right []float64) (n int, err error) {
	for n < len(left) && d.ended == nil {
		if d.frame == nil {
			if d.ended = d.next(); d.ended != nil {
				break
			}
		}
		n += d.take(left[n:], right, n)
	}
	if n > 0 && errors.Is(d.ended, io.EOF) {
		return n, nil // the end comes with the next call
	}
	return n, d.ended
}

// take copies what the frame still holds.
func (d *flacDecoder) take(left, right []float64, at int) int {
	samples := d.frame.Subframes[0].Samples[d.at:]
	n := min(len(left), len(samples))
	for i, x := range samples[:n] {
		left[i] = float64(x) * d.scale
	}
	if d.Format.Channels == 2 {
		for i, x := range d.frame.Subframes[1].Samples[d.at : d.at+n] {
			right[at+i] = float64(x) * d.scale
		}
	}
	if d.at += n; n == len(samples) {
		d.frame, d.at = nil, 0
	}
	return n
}

// next decodes a frame, which must be like the file says.
func (d *flacDecoder) next() (err error) {
	defer guard(&err)
	f, err := d.stream.ParseNext()
	switch {
	case d.source.err != nil:
		return d.source.err
	case errors.Is(err, io.EOF) && d.given >= d.Format.Frames:
		return io.EOF
	case err != nil:
		return errCut
	}
	if len(f.Subframes) != d.Format.Channels {
		return errCut
	}
	for _, s := range f.Subframes {
		if len(s.Samples) != len(f.Subframes[0].Samples) {
			return errCut
		}
	}
	if len(f.Subframes[0].Samples) == 0 {
		return errCut
	}
	d.frame = f
	d.given += int64(len(f.Subframes[0].Samples))
	return nil
}
