package cli

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/importers/score"
)

// partFlags say which part of a score to play, and how much of it.
type partFlags struct {
	file      string
	name      string
	lowest    bool
	transpose bool
	excerpt   string

	from, to float64 // s, from excerpt
}

// heardPart is the part as it is printed.
type heardPart struct {
	File  string  `json:"file"`
	ID    string  `json:"id"`
	Name  string  `json:"name"`
	Title string  `json:"title,omitempty"` // of the score
	From  float64 `json:"from_s"`
	To    float64 `json:"to_s"`
}

// check reads the excerpt.
func (p *partFlags) check() error {
	p.from, p.to = 0, math.Inf(1)
	if p.excerpt == "" {
		return nil
	}
	from, to, ok := strings.Cut(strings.ReplaceAll(p.excerpt, "..", "-"), "-")
	var errFrom, errTo error
	p.from, errFrom = strconv.ParseFloat(strings.TrimSpace(from), 64)
	p.to, errTo = strconv.ParseFloat(strings.TrimSpace(to), 64)
	if !ok || errFrom != nil || errTo != nil || !(p.from >= 0 && p.to > p.from) || math.IsInf(p.to, 0) {
		return usagef("--excerpt 0-30", "--excerpt %q: give the seconds of the piece to play, the earlier first, as in 12-40", p.excerpt)
	}
	return nil
}

// read gives the part as music for a horn. MIDI holds sounding pitch, so there
// the horn's key says what is written.
func (p *partFlags) read(ctx context.Context, transposition pitch.Note) (*score.Melody, string, error) {
	s, err := score.ReadFile(ctx, p.file)
	if err != nil {
		return nil, "", err
	}
	options := score.Options{Lowest: p.lowest}
	if s.Format == score.MIDI || p.transpose {
		semitones := int(transposition)
		options.Transposition = &semitones
	}
	m, err := s.Melody(p.name, options)
	return m, s.Title, choosePart(err)
}

// play enters the part into what is heard and gives its notes.
func (o *listenOptions) play(ctx context.Context, t *tuner, h *heard) (piece, error) {
	m, title, err := o.part.read(ctx, t.transposition)
	if err != nil {
		return nil, err
	}
	h.Part = &heardPart{File: o.part.file, ID: m.ID, Name: m.Name, Title: title, From: o.part.from, To: min(o.part.to, m.Seconds)}
	var p piece
	unreached, unknown := map[pitch.Note]bool{}, map[pitch.Note]bool{}
	for _, n := range m.Notes {
		start, end := max(n.Start, o.part.from), min(n.End, o.part.to)
		if !(start < end) {
			continue
		}
		// Four valves reach furthest; with three the note is only not predicted.
		if _, reached := pitch.UsualSlot(n.Note, 4); !reached {
			unreached[n.Note] = true
			continue
		}
		if _, known := t.lines[n.Note]; !known {
			unknown[n.Note] = true
			_, usual := pitch.UsualSlot(n.Note, 3)
			h.wider = h.wider || usual
		}
		p = append(p, stroke{note: n.Note, start: start - o.part.from, end: end - o.part.from})
	}
	if len(p) == 0 {
		return nil, catalog.Errorf(catalog.Invalid, fmt.Sprintf("choose another --part-name, or an --excerpt within %.0f s", math.Ceil(m.Seconds)),
			"%s: no note to play in %s", o.part.file, o.part.span())
	}
	h.LeftOut, h.Unknown = names(unreached), names(unknown)
	h.remarks = partRemarks(m)
	return p, nil
}

func (p *partFlags) span() string {
	if p.excerpt == "" {
		return "the piece"
	}
	return fmt.Sprintf("the seconds %g to %g", p.from, p.to)
}

func names(notes map[pitch.Note]bool) []string {
	var out []string
	for _, n := range slices.Sorted(maps.Keys(notes)) {
		out = append(out, n.String())
	}
	return out
}

// partRemarks say what was supposed, and what was passed over.
func partRemarks(m *score.Melody) []string {
	out := slices.Clone(m.Remarks)
	var skipped []string
	for _, s := range m.Skipped {
		skipped = append(skipped, fmt.Sprintf("%d %s", s.Times, s.What))
	}
	if len(skipped) > 0 {
		out = append(out, "Passed over in the part: "+strings.Join(skipped, ", ")+".")
	}
	return out
}
