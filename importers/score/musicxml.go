package score

import (
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strconv"
)

// Bounds on the structure of a score.
const (
	maxParts       = 1000
	maxMeasures    = 20_000 // of one part
	maxInstruments = 100    // kept of one part
)

// document is a MusicXML score. Times within a measure are in quarter notes from
// its beginning.
type document struct {
	w        *walker
	title    string
	concert  bool // all parts are in concert pitch
	parts    []*voice
	measures []measure // what holds for all parts
	beats    float64   // length of a measure by the last time signature, 0 = none yet
	remarks  remarks
}

// voice is one part of a document.
type voice struct {
	Listing
	notes [][]note // by measure

	// While reading:
	divisions  float64               // of a quarter note; 0 = not said yet
	transposes map[int]transposition // by staff, 0 = all
	transposed *transposition        // what a part made from a concert score would have
}

// transposition is semitones up from written to sounding pitch.
type transposition int

// note is a note in its measure.
type note struct {
	start, length     float64 // quarter notes
	written, sounding int16   // as pitch.Note
	struck            bool    // not tied to the one before
	skip              string  // why it does not count, empty if it does
	only              []int   // the passes that it is played in, nil for all
}

// readXML reads a MusicXML document.
func readXML(ctx context.Context, name string, content io.Reader) (*Score, error) {
	d := &document{w: newWalker(ctx, name, content)}
	root, err := d.w.root()
	if err != nil {
		return nil, err
	}
	switch root.Name.Local {
	case "score-partwise":
		err = d.w.children(d.header(d.partwise))
	case "score-timewise":
		err = d.w.children(d.header(d.timewise()))
	case "opus":
		err = d.w.errorf("give one of the scores that it names", "the file is a list of scores")
	default:
		err = d.w.errorf(exportAgain, "the file is XML but not MusicXML: it begins with <%s>", shorten(root.Name.Local))
	}
	if err != nil {
		return nil, err
	}
	d.finish()
	s := &Score{Title: d.title, Format: MusicXML, play: d}
	for _, v := range d.parts {
		s.Parts = append(s.Parts, v.Listing)
	}
	return s, nil
}

// header handles what comes before the music; music handles the rest.
func (d *document) header(music func(xml.StartElement) error) func(xml.StartElement) error {
	return func(e xml.StartElement) (err error) {
		switch e.Name.Local {
		case "work", "movement-title":
			return d.readTitle(e)
		case "defaults":
			return d.w.children(func(e xml.StartElement) error {
				d.concert = d.concert || e.Name.Local == "concert-score"
				return d.w.skip()
			})
		case "part-list":
			return d.w.children(d.partList)
		case "part", "measure":
			return music(e)
		}
		return d.w.skip()
	}
}

// readTitle takes the title of the work, or else of the movement.
func (d *document) readTitle(e xml.StartElement) error {
	if e.Name.Local == "work" {
		return d.w.children(func(e xml.StartElement) (err error) {
			if e.Name.Local != "work-title" {
				return d.w.skip()
			}
			d.title, err = d.w.text()
			return err
		})
	}
	text, err := d.w.text()
	if d.title == "" {
		d.title = text
	}
	return err
}

// partList handles the children of part-list.
func (d *document) partList(e xml.StartElement) error {
	if e.Name.Local != "score-part" {
		return d.w.skip()
	}
	if len(d.parts) == maxParts {
		return d.w.errorf("export the player's part alone", "the score has more than %d parts", maxParts)
	}
	v := &voice{Listing: Listing{Number: len(d.parts) + 1, ID: attribute(e, "id")}, transposes: map[int]transposition{}}
	if d.find(v.ID) != nil {
		return d.w.errorf("export the score again", "two parts have the id %q", v.ID)
	}
	d.parts = append(d.parts, v)
	return d.w.children(func(e xml.StartElement) (err error) {
		switch e.Name.Local {
		case "part-name":
			v.Name, err = d.w.text()
			v.Trumpet = v.Trumpet || trumpetNamed(v.Name)
			return err
		case "score-instrument":
			return d.w.children(func(e xml.StartElement) error { return d.instrument(v, e) })
		case "midi-instrument":
			return d.w.children(func(e xml.StartElement) error { return d.program(v, e) })
		}
		return d.w.skip()
	})
}

// instrument handles the children of score-instrument.
func (d *document) instrument(v *voice, e xml.StartElement) error {
	if e.Name.Local != "instrument-name" && e.Name.Local != "instrument-sound" {
		return d.w.skip()
	}
	text, err := d.w.text()
	if text != "" && len(v.Instruments) < maxInstruments && !slices.Contains(v.Instruments, text) {
		v.Instruments = append(v.Instruments, text)
	}
	v.Trumpet = v.Trumpet || trumpetNamed(text)
	return err
}

// program handles the children of midi-instrument.
func (d *document) program(v *voice, e xml.StartElement) error {
	if e.Name.Local != "midi-program" {
		return d.w.skip()
	}
	text, err := d.w.text()
	program, _ := strconv.Atoi(text)
	v.Trumpet = v.Trumpet || program == programTrumpet || program == programMutedTrumpet
	return err
}

func (d *document) find(id string) *voice {
	for _, v := range d.parts {
		if v.ID == id {
			return v
		}
	}
	return nil
}

// listed is the part of an id, which must be in the list of parts.
func (d *document) listed(id string) (*voice, error) {
	if v := d.find(id); v != nil {
		return v, nil
	}
	return nil, d.w.errorf("export the score again", "the part %q is not in the list of parts", id)
}

// partwise reads a part with its measures.
func (d *document) partwise(e xml.StartElement) error {
	v, err := d.listed(attribute(e, "id"))
	if err != nil || e.Name.Local != "part" {
		return d.misplaced(e, err)
	}
	index := len(v.notes)
	return d.w.children(func(e xml.StartElement) error {
		if e.Name.Local != "measure" {
			return d.w.skip()
		}
		index++
		return d.measure(v, index-1, attribute(e, "number"))
	})
}

// timewise reads measures with their parts.
func (d *document) timewise() func(e xml.StartElement) error {
	index := 0
	return func(e xml.StartElement) error {
		if e.Name.Local != "measure" {
			return d.misplaced(e, nil)
		}
		index++
		number := attribute(e, "number")
		return d.w.children(func(e xml.StartElement) error {
			if e.Name.Local != "part" {
				return d.w.skip()
			}
			v, err := d.listed(attribute(e, "id"))
			if err != nil {
				return err
			}
			return d.measure(v, index-1, number)
		})
	}
}

func (d *document) misplaced(e xml.StartElement, err error) error {
	if err != nil {
		return err
	}
	return d.w.errorf("export the score again", "<%s> stands where it can't", e.Name.Local)
}

// measure reads what one part has in one measure.
func (d *document) measure(v *voice, index int, number string) error {
	if index >= maxMeasures {
		return d.w.errorf("export the player's part alone", "the score has more than %d measures", maxMeasures)
	}
	for len(d.measures) <= index {
		d.measures = append(d.measures, measure{number: number})
	}
	for len(v.notes) <= index {
		v.notes = append(v.notes, nil)
	}
	outside := d.w.place
	d.w.place = func() string { return fmt.Sprintf("part %s, measure %s", v.ID, number) }
	defer func() { d.w.place = outside }()
	b := &bar{document: d, voice: v, index: index}
	if err := d.w.children(b.element); err != nil {
		return err
	}
	m := &d.measures[index]
	m.length, m.beats = max(m.length, b.farthest), max(m.beats, d.beats)
	return nil
}

// finish makes sense of what was read, when all of it is there.
func (d *document) finish() {
	for i := range d.measures {
		d.measures[i].finish()
	}
	for _, v := range d.parts {
		pitched, others := 0, 0
		for _, notes := range v.notes {
			for _, n := range notes {
				switch {
				case n.skip == skipUnpitched:
					others++
				case n.skip == "" && n.struck:
					pitched++
				}
			}
		}
		v.Notes, v.Percussion = pitched, pitched == 0 && others > 0
		if v.Instruments == nil {
			v.Instruments = []string{}
		}
	}
}
