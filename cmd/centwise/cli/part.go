package cli

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/importers/score"
	"centwise/match"
)

type partOptions struct {
	factory *Factory
	file    string
	part    string // empty: not said
	key     string
	lowest  bool
	valves  int
	save    string
	force   bool
	output  outputFlags
}

func newPartCmd(f *Factory, runF func(*partOptions) error) *cobra.Command {
	o := &partOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "part FILE [PART]",
		Short: "Show which notes a player's part asks for, and for how long",
		Long: long(`Read a score or part from a MusicXML (.musicxml, .xml, .mxl) or Standard MIDI (.mid) file, and list its parts; or show
one part, PART being its name, its number or its id, and the only one going without: each written note, how long it sounds when
the piece is played through, its share of that time, and the usual fingering. 'centwise rank' and 'centwise predict' judge by
such a part with --part FILE; --save writes it as a file of weights, for --weights there or for 'centwise player edit HANDLE
--weights FILE'.`,
			`Repeats, endings, D.C., D.S., coda and Fine are played as the file marks them, in the tempos of the file. Of several
notes at a time the highest counts, or with --lowest the lowest, for a second player. Left out and told are grace notes, cue
notes, unpitched notes, slashes, notes between the semitones, and notes without a usual fingering.`,
			`Notes are as the part writes them. --key gives those that another instrument would read instead. MIDI and scores in
concert pitch hold sounding pitch: there an instrument in Bb is taken unless --key says otherwise. In a MIDI file a part is a
channel of a track; channel 10 is percussion.`,
			`--json prints {"file", "title", "format", "parts": [{"number", "id", "name", "instruments", "notes", "percussion",
"trumpet"}], "part": null or {"number", "id", "name", "seconds" (of the piece), "sounding_seconds", "notes": [{"note", "valves",
"partial", "times", "seconds", "share"}], "beyond": [{"note", "times", "seconds"}], "skipped": [{"what", "times", "seconds"}],
"remarks"}}. --csv prints the table that is shown.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitCancelled)),
		Example: `  centwise part march.musicxml
  centwise part march.musicxml "Trumpet 2" --lowest
  centwise part march.mid 1 --key C --save march.csv`,
		Args: args(1, 2),
		RunE: func(cmd *cobra.Command, got []string) error {
			if o.file = got[0]; len(got) > 1 {
				o.part = got[1]
			}
			return orRun(runF, partRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.key, "key", "", "show the notes that an instrument in `KEY` would read, as in C or 'Bb piccolo'")
	fs.BoolVar(&o.lowest, "lowest", false, "count the lowest of several notes at a time")
	fs.IntVar(&o.valves, "valves", 3, "valves of the instrument, 3 or 4: the `NUMBER` decides what is in range")
	fs.StringVar(&o.save, "save", "", "write the seconds as weights to `FILE`")
	fs.BoolVar(&o.force, "force", false, "with --save: replace the file if it is there already")
	o.output.add(cmd)
	return cmd
}

func partRun(ctx context.Context, o *partOptions) error {
	options := score.Options{Lowest: o.lowest, Valves: o.valves}
	if o.valves != 3 && o.valves != 4 {
		return usagef("--valves 3", "--valves %d is neither 3 nor 4", o.valves)
	}
	if o.force && o.save == "" {
		return usagef("--save march.csv --force", "--force needs --save")
	}
	if err := checkPlace(o.save, o.force, "--save march.csv"); err != nil {
		return err
	}
	var err error
	if options.Transposition, err = partTransposition("key", o.key); err != nil {
		return err
	}
	s, err := score.ReadFile(ctx, o.file)
	if err != nil {
		return err
	}
	if o.part == "" && o.save == "" && len(s.Parts) > 1 {
		return o.list(s)
	}
	p, err := s.Part(o.part, options)
	if err != nil {
		return err
	}
	if err := o.show(s, p); err != nil {
		return err
	}
	return o.saveWeights(p)
}

// list prints the parts of a score.
func (o *partOptions) list(s *score.Score) error {
	t := &show.Table{Columns: []show.Column{
		{Title: "part", Name: "number", Right: true}, {Name: "id"}, {Title: "name", Name: "name"},
		{Title: "instruments", Name: "instruments", Drop: 1}, {Title: "notes", Name: "notes", Right: true},
		{Title: "kind", Name: "kind"},
	}}
	for _, l := range s.Parts {
		t.Add(show.Count(l.Number), show.Text(l.ID), show.Text(l.Name), show.Text(strings.Join(l.Instruments, ", ")),
			show.Count(l.Notes), show.Words(kindOfPart(l)))
	}
	if err := o.output.table(o.factory.Streams, t, func() any { return o.fields(s, nil) }); err != nil {
		return err
	}
	example := s.Parts[0]
	if i := slices.IndexFunc(s.Parts, func(l score.Listing) bool { return l.Trumpet && !l.Percussion && l.Notes > 0 }); i >= 0 {
		example = s.Parts[i]
	}
	if !o.output.json && !o.output.csv {
		o.factory.Streams.Note("Next: show one of them:")
		o.factory.Streams.Command(fmt.Sprintf("centwise part %s %d", catalog.ShellPath(o.file), example.Number))
	}
	return nil
}

func kindOfPart(l score.Listing) string {
	switch {
	case l.Percussion:
		return "percussion"
	case l.Trumpet:
		return "trumpet family"
	}
	return ""
}

// show prints a part that was counted.
func (o *partOptions) show(s *score.Score, p *score.Part) error {
	streams := o.factory.Streams
	notes := partNotes(p, o.valves)
	if !o.output.json && !o.output.csv && streams.Style.Terminal {
		if err := show.Part(streams.Out, streams.Style, partTitle(s, p), notes); err != nil {
			return err
		}
	} else if err := o.output.table(streams, show.PartTable(notes), func() any { return o.fields(s, p) }); err != nil {
		return err
	}
	if o.output.json {
		return nil
	}
	streams.Note("The piece lasts %.1f s, and the part sounds for %.1f s of it, on %s; half of that time goes to %s.",
		p.Seconds, p.Sounding(), match.Count(len(notes), "note"), strings.Join(mostPlayed(notes), ", "))
	streams.Notes(countedRemarks(p))
	return nil
}

// partTitle is the part and its piece, as in: Trumpet 1, Lantern Walk.
func partTitle(s *score.Score, p *score.Part) string {
	name := partLabel(p.Listing)
	if p.Name == "" {
		name = "part " + name
	}
	if s.Title == "" {
		return name
	}
	return name + ", " + s.Title
}

// partNotes are the notes that count, upwards.
func partNotes(p *score.Part, valves int) []show.PartNote {
	whole := p.Sounding()
	var out []show.PartNote
	for _, n := range slices.Sorted(maps.Keys(p.Durations)) {
		slot, _ := pitch.UsualSlot(n, valves)
		out = append(out, show.PartNote{
			Note: n.String(), Valves: slot.Valves.String(), Partial: slot.Partial,
			Times: p.Times[n], Seconds: p.Durations[n], Share: p.Durations[n] / whole,
		})
	}
	return out
}

// mostPlayed are the notes that make up half of the time, the longest first.
func mostPlayed(notes []show.PartNote) []string {
	byShare := slices.Clone(notes)
	slices.SortStableFunc(byShare, func(a, b show.PartNote) int {
		switch {
		case a.Share > b.Share:
			return -1
		case a.Share < b.Share:
			return 1
		}
		return 0
	})
	var out []string
	for sum := 0.0; len(out) < len(byShare) && sum < 0.5; {
		n := byShare[len(out)]
		out = append(out, n.Note)
		sum += n.Share
	}
	return out
}

// fields is what --json prints.
func (o *partOptions) fields(s *score.Score, p *score.Part) show.Fields {
	out := show.Fields{{Name: "file", Value: s.File}, {Name: "title", Value: s.Title}, {Name: "format", Value: s.Format}, {Name: "parts", Value: s.Parts}}
	if p == nil {
		return append(out, show.Field{Name: "part", Value: nil})
	}
	beyond := []show.Fields{}
	for _, b := range p.Beyond {
		beyond = append(beyond, show.Fields{{Name: "note", Value: b.Note.String()}, {Name: "times", Value: b.Times}, {Name: "seconds", Value: b.Seconds}})
	}
	return append(out, show.Field{Name: "part", Value: show.Fields{
		{Name: "number", Value: p.Number}, {Name: "id", Value: p.ID}, {Name: "name", Value: p.Name},
		{Name: "seconds", Value: p.Seconds}, {Name: "sounding_seconds", Value: p.Sounding()},
		{Name: "notes", Value: partNotes(p, o.valves)}, {Name: "beyond", Value: beyond},
		{Name: "skipped", Value: append([]score.Skipped{}, p.Skipped...)}, {Name: "remarks", Value: list(p.Remarks)},
	}})
}

// saveWeights writes the file of --save.
func (o *partOptions) saveWeights(p *score.Part) error {
	if o.save == "" {
		return nil
	}
	weights := partWeights(p)
	if err := writeFile(o.save, o.force, func(w io.Writer) error { return writeWeights(w, weights, slices.Sorted(maps.Keys(weights))) }); err != nil {
		return err
	}
	s := o.factory.Streams
	s.Note("wrote %s; judge by it, or keep it with a player:", o.save)
	s.Command("centwise rank --weights " + catalog.ShellPath(o.save))
	s.Command("centwise player edit HANDLE --weights " + catalog.ShellPath(o.save))
	return nil
}
