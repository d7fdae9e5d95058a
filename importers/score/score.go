package score

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Largest file of each kind, in bytes. A full orchestra's symphony is about
// 30 MB of MusicXML; compressed or as MIDI it is below 2 MB.
const (
	maxTextBytes   = 64 << 20
	maxBinaryBytes = 16 << 20
)

// Format is the kind of a file.
type Format string

// The formats.
const (
	MusicXML Format = "MusicXML"
	MIDI     Format = "MIDI"
)

// Score is the content of a file: parts, of which one can be counted.
type Score struct {
	File   string
	Title  string // as the file has it; may be empty
	Format Format
	Parts  []Listing // in the order of the file

	play player
}

// player plays one of the parts of a file.
type player interface {
	// perform gives what sounds in the part at an index of Score.Parts.
	perform(index int, o Options) (*performance, error)
}

// Listing is what can be said of a part before it is played.
type Listing struct {
	Number      int      `json:"number"` // place in the file, from 1
	ID          string   `json:"id"`     // MusicXML: the part's id; MIDI: track and channel, as in t2c1
	Name        string   `json:"name"`
	Instruments []string `json:"instruments"` // names of instruments and of sounds
	Notes       int      `json:"notes"`       // pitched ones, as written, ties joined
	Percussion  bool     `json:"percussion"`  // no pitched notes
	Trumpet     bool     `json:"trumpet"`     // an instrument of the trumpet family, by its name or sound
}

// Options say how a part is counted.
type Options struct {
	// Transposition is how many semitones the player's instrument sounds above
	// what is written (B flat -2). Nil: the notes as the part writes them, and
	// B flat for files that hold sounding pitch.
	Transposition *int
	// Lowest counts the lowest of several notes at a time, not the highest.
	Lowest bool
	// Valves of the instrument, 3 or 4; 0 is read as 3. Notes without a usual
	// fingering are beyond its range.
	Valves int
}

// Part is a part that was counted.
type Part struct {
	Listing
	Durations map[pitch.Note]float64 // seconds that each written note sounds, > 0
	Times     map[pitch.Note]int     // how often each of them is struck
	Seconds   float64                // how long the piece lasts
	Beyond    []Beyond               // notes that the instrument does not reach, upwards
	Skipped   []Skipped              // everything else that was not counted
	Remarks   []string               // assumptions and oddities, as sentences
}

// Sounding is the time in seconds that Durations add up to.
func (p *Part) Sounding() float64 {
	sum := 0.0
	for _, n := range sortedNotes(p.Durations) {
		sum += p.Durations[n]
	}
	return rounded(sum)
}

// Beyond is a note outside the range of the instrument; it is not counted.
type Beyond struct {
	Note    pitch.Note
	Times   int
	Seconds float64
}

// Skipped is a sort of notes that do not count.
type Skipped struct {
	What    string  `json:"what"` // as in "cue notes"
	Times   int     `json:"times"`
	Seconds float64 `json:"seconds"`
}

// ReadFile reads a score from a file; see [Read].
func ReadFile(ctx context.Context, path string) (*Score, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading " + path, Hint: "check the name of the file", Err: err}
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return nil, catalog.Errorf(catalog.Invalid, "name one MusicXML or MIDI file in it", "%s is a folder", path)
	}
	return Read(ctx, path, f)
}

// Read reads a score. Errors are of kind [catalog.Invalid] when the content can't
// be used, and say where; name stands for the file in them.
func Read(ctx context.Context, name string, content io.Reader) (*Score, error) {
	data, err := io.ReadAll(io.LimitReader(cancelled{ctx, content}, maxTextBytes+1))
	switch {
	case errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return nil, err
	case err != nil:
		return nil, &catalog.Error{Kind: catalog.Unavailable, What: "reading " + name, Hint: "check that the file can be read", Err: err}
	}
	s, err := read(ctx, name, data)
	if err != nil {
		return nil, err
	}
	s.File = name
	if len(s.Parts) == 0 {
		return nil, invalid("export the score again, with its parts", "%s has no parts", name)
	}
	return s, nil
}

// read goes by the first bytes of the content.
func read(ctx context.Context, name string, data []byte) (*Score, error) {
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return nil, invalid(exportAgain, "%s is empty", name)
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return readArchive(ctx, name, data)
	case bytes.HasPrefix(data, []byte("MThd")):
		return readMIDI(name, data)
	case looksLikeXML(data):
		if len(data) > maxTextBytes {
			return nil, tooLarge(name, maxTextBytes)
		}
		return readXML(ctx, name, bytes.NewReader(data))
	}
	return nil, invalid(exportAgain, "%s is neither MusicXML nor a Standard MIDI file", name)
}

const exportAgain = "export the part as MusicXML or as MIDI and give that file"

func invalid(hint, format string, args ...any) error {
	return catalog.Errorf(catalog.Invalid, hint, format, args...)
}

func tooLarge(name string, limit int) error {
	return invalid("export the player's part alone", "%s is larger than %d MB", name, limit>>20)
}

// cancelled is a reader that ends with its context.
type cancelled struct {
	ctx context.Context
	io.Reader
}

func (c cancelled) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.Reader.Read(p)
}

// maxHours bounds how long a piece lasts when it is played through; longer ones
// come from damaged tempos or lengths.
const maxHours = 1000

// perform plays the part that which names.
func (s *Score) perform(which string, o Options) (int, *performance, error) {
	index, err := s.Choose(which)
	if err != nil {
		return 0, nil, err
	}
	played, err := s.play.perform(index, o)
	if err == nil && played.seconds > maxHours*3600 {
		err = invalid("check its tempos, or export it again", "%s: the piece would last %.0f hours", s.File, played.seconds/3600)
	}
	return index, played, err
}

// Part counts a part; which names it as [Score.Choose] says.
func (s *Score) Part(which string, o Options) (*Part, error) {
	index, played, err := s.perform(which, o)
	if err != nil {
		return nil, err
	}
	line, covered := singleLine(played.intervals, o.Lowest)
	p := &Part{Listing: s.Parts[index], Seconds: rounded(played.seconds), Skipped: played.left(covered), Remarks: played.remarks.list()}
	p.count(line, max(3, o.Valves))
	if len(p.Durations) == 0 {
		return nil, s.nothing(p)
	}
	return p, nil
}

// count adds up notes that the instrument has and others.
func (p *Part) count(line []Played, valves int) {
	p.Durations, p.Times = map[pitch.Note]float64{}, map[pitch.Note]int{}
	for _, n := range line {
		p.Durations[n.Note] += n.End - n.Start
		p.Times[n.Note]++
	}
	for _, n := range sortedNotes(p.Durations) {
		p.Durations[n] = rounded(p.Durations[n])
		if _, ok := pitch.UsualSlot(n, valves); !ok {
			p.Beyond = append(p.Beyond, Beyond{n, p.Times[n], p.Durations[n]})
			delete(p.Durations, n)
			delete(p.Times, n)
		}
	}
}

// rounded takes the last digits of sums away that are mere rounding: to picoseconds.
func rounded(seconds float64) float64 { return math.Round(seconds*1e12) / 1e12 }

// nothing says why a part has no note that counts.
func (s *Score) nothing(p *Part) error {
	label := p.label()
	if len(p.Beyond) > 0 {
		low, high := p.Beyond[0].Note, p.Beyond[len(p.Beyond)-1].Note
		return invalid("choose another part, or check the key of the instrument",
			"%s: every note of %s (%s to %s) lies outside the range of the instrument", s.File, label, low, high)
	}
	var left []string
	for _, k := range p.Skipped {
		left = append(left, k.What)
	}
	if len(left) == 0 {
		return invalid("choose another part", "%s: %s has no notes", s.File, label)
	}
	return invalid("choose another part", "%s: %s has nothing but %s", s.File, label, strings.Join(left, ", "))
}
