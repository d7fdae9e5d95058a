package recording

import (
	"bufio"
	"fmt"
	"io"

	"centwise/catalog"
)

// Format is what a file says about its samples.
type Format struct {
	Container string // "WAV" or "FLAC"
	Rate      int    // samples a second
	Channels  int    // 1 or 2
	Bits      int    // of a sample
	Float     bool   // samples are floating-point numbers
	Frames    int64  // samples of each channel; 0 when the file does not say
}

// Rates and channels that are read.
const (
	MinRate     = 8000
	MaxRate     = 192000
	MaxChannels = 2
)

// decoder gives the samples of a file one after the other; 1 is full scale.
// Right is not touched when there is one channel. At the end n is 0 and err
// [io.EOF]; [errCut] says that the file breaks off, after the samples before it
// were given.
type decoder interface {
	format() Format
	read(left, right []float64) (n int, err error)
}

// errCut is the end of a file that breaks off or is damaged there.
var errCut = fmt.Errorf("the file breaks off: %w", io.ErrUnexpectedEOF)

const readAhead = 256 << 10

// open finds out what kind of file r is and reads its head. Errors are an
// [*catalog.Error] of kind Invalid, or what went wrong with reading.
func open(r io.Reader, name string) (decoder, error) {
	buffered := bufio.NewReaderSize(r, readAhead)
	head, err := buffered.Peek(4)
	if err != nil && err != io.EOF {
		return nil, err
	}
	var d decoder
	switch string(head) {
	case "RIFF", "RF64", "BW64":
		d, err = openWAV(buffered)
	case "fLaC":
		d, err = openFLAC(buffered)
	case "":
		return nil, invalid(name, "record again, or check that the file was copied whole", "is empty")
	default:
		return nil, invalid(name, "save the recording as WAV or FLAC: lossy formats smear what is to be measured", "is neither WAV nor FLAC")
	}
	if err != nil {
		return nil, refuse(name, err)
	}
	return d, refuse(name, d.format().check())
}

// check refuses what the analysis can't take.
func (f Format) check() error {
	switch {
	case f.Channels < 1 || f.Channels > MaxChannels:
		return &badFile{fmt.Sprintf("has %d channels", f.Channels), "save it with one or two channels"}
	case f.Rate < MinRate || f.Rate > MaxRate:
		return &badFile{fmt.Sprintf("says that it has %d samples a second", f.Rate),
			fmt.Sprintf("record with %d to %d, as in 44100 or 48000", MinRate, MaxRate)}
	}
	return nil
}

// badFile is what is wrong with a file, and what to do about it.
type badFile struct{ what, hint string }

func (b *badFile) Error() string { return b.what }

// refuse names the file that is wrong.
func refuse(name string, err error) error {
	switch b := err.(type) {
	case nil:
		return nil
	case *badFile:
		return invalid(name, b.hint, "%s", b.what)
	}
	return &catalog.Error{Kind: catalog.Invalid, What: "reading " + name, Hint: "check that the file was copied whole, or record again", Err: err}
}

func invalid(name, hint, format string, args ...any) error {
	return catalog.Errorf(catalog.Invalid, hint, "%s %s", name, fmt.Sprintf(format, args...))
}
