package score

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// maxTracks bounds the tracks of a file.
const maxTracks = 1000

// percussionChannel is channel 10, from 0 (General MIDI level 1).
const percussionChannel = 9

// sequence is a Standard MIDI file. Times are in ticks from the beginning.
type sequence struct {
	file    string
	format  int
	ticks   timing
	tempos  []tickTempo // of all tracks, by time; format 2: not used
	parts   []*channel
	tracks  []*track
	remarks remarks
}

// timing says how long a tick is: a part of a quarter note, or of a second.
type timing struct {
	perQuarter float64 // 0 if perSecond says it
	perSecond  float64
}

// tickTempo is a tempo that holds from a time on.
type tickTempo struct {
	tick    int64
	quarter float64 // seconds of a quarter note
}

// track is one track of a file.
type track struct {
	number   int // from 1
	name     string
	device   string // instrument name
	channels [16]*channel
	tempos   []tickTempo
	end      int64
}

// channel is one channel of a track: a part.
type channel struct {
	track    *track
	number   int // from 0
	program  int // from 1, 0 = none; the first one
	notes    []tickNote
	sounding map[byte]int // notes that have not ended, by key; the index in notes
	open     int          // of them at the end of the track
}

type tickNote struct {
	start, end int64
	key        byte
}

// readMIDI reads a Standard MIDI file.
func readMIDI(name string, data []byte) (*Score, error) {
	if len(data) > maxBinaryBytes {
		return nil, tooLarge(name, maxBinaryBytes)
	}
	q := &sequence{file: name}
	rest, tracks, err := q.header(data)
	if err != nil {
		return nil, err
	}
	for len(rest) >= chunkHead {
		kind, body, after, err := q.chunk(rest)
		if err != nil {
			return nil, err
		}
		rest = after
		if kind != "MTrk" {
			continue // other chunks are to be passed over
		}
		if len(q.tracks) == maxTracks {
			return nil, invalid("export the player's part alone", "%s has more than %d tracks", name, maxTracks)
		}
		t := &track{number: len(q.tracks) + 1}
		q.tracks = append(q.tracks, t)
		if err := (&trackReader{sequence: q, track: t, data: body}).read(); err != nil {
			return nil, err
		}
	}
	if len(q.tracks) < tracks {
		return nil, invalid(copyAgain, "%s is cut short: it has %d of its %d tracks", name, len(q.tracks), tracks)
	}
	q.finish()
	s := &Score{Title: q.title(), Format: MIDI, play: q}
	for i, c := range q.parts {
		s.Parts = append(s.Parts, c.listing(i+1))
	}
	return s, nil
}

const copyAgain = "copy or export it again"

// chunkHead is the length of a chunk's kind and size in bytes.
const chunkHead = 8

// chunk splits the first chunk from data.
func (q *sequence) chunk(data []byte) (kind string, body, rest []byte, err error) {
	kind = string(data[:4])
	size := int64(binary.BigEndian.Uint32(data[4:chunkHead]))
	if have := int64(len(data) - chunkHead); size > have {
		return "", nil, nil, invalid(copyAgain, "%s is cut short: a chunk of %d bytes has %d", q.file, size, have)
	}
	body = data[chunkHead : chunkHead+size]
	return kind, body, data[chunkHead+size:], nil
}

// header reads the first chunk: the format, the number of tracks, and what a tick
// is.
func (q *sequence) header(data []byte) (rest []byte, tracks int, err error) {
	if len(data) < chunkHead+6 {
		return nil, 0, invalid(copyAgain, "%s is cut short in its header", q.file)
	}
	_, body, rest, err := q.chunk(data)
	if err != nil {
		return nil, 0, err
	}
	if len(body) < 6 {
		return nil, 0, invalid(exportAgain, "%s has a header of %d bytes, which should be 6", q.file, len(body))
	}
	q.format = int(binary.BigEndian.Uint16(body))
	tracks = int(binary.BigEndian.Uint16(body[2:]))
	if q.format > 2 {
		return nil, 0, invalid(exportAgain, "%s is a MIDI file of format %d, not 0, 1 or 2", q.file, q.format)
	}
	q.ticks, err = q.timing(body[4], body[5])
	return rest, tracks, err
}

// timing reads the division of the header: ticks of a quarter note, or with the
// highest bit set the frames of a second, negated, and the ticks of a frame.
func (q *sequence) timing(high, low byte) (timing, error) {
	if high < 0x80 {
		if n := int(high)<<8 | int(low); n > 0 {
			return timing{perQuarter: float64(n)}, nil
		}
		return timing{}, invalid(exportAgain, "%s gives a quarter note no ticks", q.file)
	}
	frames := map[int]float64{24: 24, 25: 25, 29: 30_000. / 1001, 30: 30}[-int(int8(high))]
	if frames == 0 || low == 0 {
		return timing{}, invalid(exportAgain, "%s counts time in frames of an unknown rate (bytes %02X %02X)", q.file, high, low)
	}
	return timing{perSecond: frames * float64(low)}, nil
}

// finish gathers tempos and parts of all tracks.
func (q *sequence) finish() {
	for _, t := range q.tracks {
		q.tempos = append(q.tempos, t.tempos...)
		for _, c := range t.channels {
			if c != nil && len(c.notes) > 0 {
				q.parts = append(q.parts, c)
			}
		}
	}
	slices.SortStableFunc(q.tempos, func(a, b tickTempo) int { return cmp.Compare(a.tick, b.tick) })
}

// title is the name of the first track where that is no part (common practice).
func (q *sequence) title() string {
	if len(q.parts) > 0 && q.parts[0].track != q.tracks[0] {
		return q.tracks[0].name
	}
	return ""
}

func (c *channel) listing(number int) Listing {
	l := Listing{
		Number: number, ID: fmt.Sprintf("t%dc%d", c.track.number, c.number+1), Name: c.track.name,
		Instruments: []string{}, Notes: len(c.notes), Percussion: c.number == percussionChannel,
		Trumpet: trumpetNamed(c.track.name) || trumpetNamed(c.track.device) || c.program == programTrumpet || c.program == programMutedTrumpet,
	}
	if c.track.device != "" {
		l.Instruments = append(l.Instruments, c.track.device)
	}
	if c.program > 0 {
		l.Instruments = append(l.Instruments, fmt.Sprintf("program %d", c.program))
	}
	return l
}

// textOf reads text of a MIDI file, which has no declared encoding: UTF-8 if it
// is that, else Latin 1.
func textOf(raw []byte) string {
	raw = bytes.Trim(raw[:min(len(raw), maxWord)], " \t\r\n\x00")
	if !utf8.Valid(raw) {
		raw, _ = charmap.ISO8859_1.NewDecoder().Bytes(raw)
	}
	return strings.ToValidUTF8(string(raw), "")
}
