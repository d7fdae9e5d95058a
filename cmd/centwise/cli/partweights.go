package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/importers/score"
)

// weighedPart is the flags that weigh notes by how long a player's part has them.
type weighedPart struct {
	file string
	name string
	key  string

	remarks []string // what there is to say beside the data; found by weights
}

func (p *weighedPart) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&p.file, "part", "", "each note counts as long as it sounds in a part from `FILE`: MusicXML or MIDI")
	fs.StringVar(&p.name, "part-name", "", "`NAME` or number of the part, where the file has several")
	fs.StringVar(&p.key, "part-key", "", "weigh the notes of the part that an instrument in `KEY` would read, as in C or 'Bb piccolo' (default as written; MIDI: Bb)")
}

// weights counts the part.
func (p *weighedPart) weights() (weights map[pitch.Note]float64, from string, err error) {
	o := score.Options{Valves: 4}
	if o.Transposition, err = partTransposition("part-key", p.key); err != nil {
		return nil, "", err
	}
	s, err := score.ReadFile(context.Background(), p.file)
	if err != nil {
		return nil, "", err
	}
	counted, err := s.Part(p.name, o)
	if err != nil {
		return nil, "", choosePart(err)
	}
	p.remarks = countedRemarks(counted)
	return partWeights(counted), fmt.Sprintf("part %s of %s", partLabel(counted.Listing), filepath.Base(p.file)), nil
}

// choosePart names the flag that chooses a part, where an error asks for that.
func choosePart(err error) error {
	var domain *catalog.Error
	if !errors.As(err, &domain) || !strings.HasPrefix(domain.Hint, "choose") {
		return err
	}
	said := *domain
	said.Hint = "say --part-name NAME or NUMBER; " + domain.Hint
	return &said
}

// orphaned is the first flag that means nothing without a file.
func (p *weighedPart) orphaned() error {
	for _, f := range []struct{ name, value string }{{"part-name", p.name}, {"part-key", p.key}} {
		if p.file == "" && f.value != "" {
			return usagef("--part march.musicxml --"+f.name+" "+catalog.ShellWord(f.value), "--%s needs --part", f.name)
		}
	}
	return nil
}

// partTransposition reads the key of the player's instrument: how many semitones
// it sounds above what is written, nil for none given. A piccolo sounds an octave
// above others in its key.
func partTransposition(flag, text string) (*int, error) {
	if text == "" {
		return nil, nil
	}
	horn := catalog.Horn{Instrument: catalog.Trumpet}
	name := strings.ToLower(text)
	if strings.Contains(name, "piccolo") {
		horn.Instrument = catalog.Piccolo
		name = strings.TrimPrefix(strings.TrimSpace(strings.ReplaceAll(name, "piccolo", "")), "in ")
	}
	var err error
	if horn.Key, err = pitch.ParseKey(name); err != nil {
		return nil, usagef("--"+flag+" Bb", "--%s: %q is not a key a trumpet is built in: use one of Bb, C, D, Eb, F, G, A, with 'piccolo' if it is one", flag, text)
	}
	sounding := horn.Transposition()
	return &sounding, nil
}

// partWeights are the seconds of the notes that count, as weights. Less than the
// least weight is a click, no note.
func partWeights(p *score.Part) map[pitch.Note]float64 {
	out := map[pitch.Note]float64{}
	for n, seconds := range p.Durations {
		if seconds >= catalog.MinWeight {
			out[n] = seconds
		}
	}
	return out
}

// countedRemarks are what was left out of a part, and what was supposed.
func countedRemarks(p *score.Part) []string {
	var out []string
	if len(p.Beyond) > 0 {
		var notes []string
		times, seconds := 0, 0.0
		for _, b := range p.Beyond {
			notes = append(notes, b.Note.String())
			times, seconds = times+b.Times, seconds+b.Seconds
		}
		const most = 8
		if more := len(notes) - most; more > 0 {
			notes = append(notes[:most], fmt.Sprintf("%d more", more))
		}
		out = append(out, fmt.Sprintf("Not counted, beyond the range of the instrument: %s (%s).", strings.Join(notes, ", "), amount(times, seconds)))
	}
	for _, k := range p.Skipped {
		out = append(out, fmt.Sprintf("Not counted: %s (%s).", k.What, amount(k.Times, k.Seconds)))
	}
	return append(out, p.Remarks...)
}

// amount says how many notes there were and for how long, as far as that says
// anything.
func amount(times int, seconds float64) string {
	switch {
	case times == 0:
		return fmt.Sprintf("%.1f s", seconds)
	case seconds == 0:
		return fmt.Sprint(times)
	}
	return fmt.Sprintf("%d, %.1f s", times, seconds)
}

func partLabel(l score.Listing) string {
	if l.Name == "" {
		return fmt.Sprint(l.Number)
	}
	return l.Name
}

// writeWeights writes a file of weights, as --weights reads it.
func writeWeights(w io.Writer, weights map[pitch.Note]float64, notes []pitch.Note) error {
	t := &show.Table{Columns: []show.Column{{Name: "note"}, {Name: "weight"}}}
	for _, n := range notes {
		if seconds, ok := weights[n]; ok {
			t.Add(show.Words(n.String()), show.Number(seconds, 6))
		}
	}
	return t.WriteCSV(w)
}
