package cli

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/form"
	"centwise/cmd/centwise/show"
	"centwise/importers/impedance"
	"centwise/match"
	"centwise/match/tuning"
)

// benchSession is a session of impedance curves on its way into the catalog.
type benchSession struct {
	*importImpedanceOptions
	session    catalog.Session
	horn       catalog.Horn
	mouthpiece catalog.Mouthpiece
	files      []*benchFile
	doubts     []string
	stored     bool
}

// benchFile is one curve and what was found in it.
type benchFile struct {
	curveFile
	curve      *impedance.Curve
	fingering  impedance.Fingering
	numbering  impedance.Numbering
	resonances []benchResonance
	rejected   []impedance.Rejected
	within     int
}

// benchResonance is a resonance with its number.
type benchResonance struct {
	impedance.Resonance
	partial int // 0: none
	cents   float64
	why     string // it is no reading; empty if it is one
	support *float64
}

func (r benchResonance) slot(v pitch.Valves) pitch.Slot {
	return pitch.Slot{Valves: v, Partial: r.partial}
}

// bench finds the gear.
func (o *importImpedanceOptions) bench(ctx context.Context, store catalog.Store, s catalog.Session) (*benchSession, error) {
	b := &benchSession{importImpedanceOptions: o, session: s}
	var err error
	if b.horn, err = store.Horn(ctx, o.horn); err != nil {
		return nil, err
	}
	if b.mouthpiece, err = store.Mouthpiece(ctx, o.mouthpiece); err != nil {
		return nil, err
	}
	b.session.ID = catalog.NewID()
	b.session.Horn, b.session.Mouthpiece = b.horn.ID, b.mouthpiece.ID
	return b, nil
}

// readAll reads the curves one after the other.
func (b *benchSession) readAll(ctx context.Context, files []curveFile, columns []impedance.Column) error {
	for _, file := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := b.read(file, columns); err != nil {
			return err
		}
	}
	return nil
}

// read reads a curve and numbers what is found.
func (b *benchSession) read(file curveFile, columns []impedance.Column) error {
	if file.valves >= 1<<b.horn.Valves {
		return usagef("correct --valves, or the number of valves of the horn", "valves %s of %s need a fourth valve, which %q has not got", file.valves, file.path, b.horn.Label)
	}
	curve, err := readCurve(file.path, columns)
	if err != nil {
		return err
	}
	f := &benchFile{curveFile: file, curve: curve}
	found, rejected, within := curve.Resonances()
	f.rejected, f.within = rejected, within
	if len(found) == 0 {
		return catalog.Errorf(catalog.Invalid, "check the columns and the range: a horn's resonances lie between 60 and 1600 Hz", "%s: no resonances are found between %.4g and %.4g Hz%s",
			file.path, curve.Hz[0], curve.Hz[len(curve.Hz)-1], rejectedWords(rejected))
	}
	f.fingering = impedance.Fingering{Valves: file.valves, Transposition: b.horn.Transposition(), A4Hz: b.session.Pitch(),
		TemperatureC: b.session.TemperatureC, LowestHz: curve.Hz[0], First: b.first}
	f.numbering = impedance.Number(found, f.fingering)
	for i, r := range found {
		f.resonances = append(f.resonances, f.numbered(r, f.numbering.Partials[i]))
	}
	f.addSupport()
	b.files = append(b.files, f)
	for _, d := range f.numbering.Doubts {
		b.doubts = append(b.doubts, filepath.Base(file.path)+": "+d)
	}
	return nil
}

func rejectedWords(list []impedance.Rejected) string {
	if len(list) == 0 {
		return ""
	}
	return fmt.Sprintf("; the maximum near %.4g Hz %s", list[0].Hz, list[0].Why)
}

// numbered says what a resonance is a reading of, or why of nothing.
func (f *benchFile) numbered(r impedance.Resonance, partial int) benchResonance {
	out := benchResonance{Resonance: r, partial: partial}
	if partial >= 1 && partial <= pitch.MaxPartial {
		out.cents = math.Round(1000*f.fingering.Cents(r.Hz, partial)) / 1000
	}
	switch {
	case partial == 0:
		out.why = "between partials"
	case partial > pitch.MaxPartial:
		out.why = fmt.Sprintf("above partial %d", pitch.MaxPartial)
	case partial == 1 && math.Abs(out.cents) > catalog.MaxCents:
		out.why = "pedal's"
	}
	return out
}

// addSupport works out how well the curve carries the harmonics of each note.
func (f *benchFile) addSupport() {
	at := f.curve.At()
	of := map[int]*benchResonance{}
	for i := range f.resonances {
		if r := &f.resonances[i]; r.partial > 0 {
			of[r.partial] = r
		}
	}
	for i := range f.resonances {
		r := &f.resonances[i]
		if r.why != "" {
			continue
		}
		support, known := tuning.SupportBy(r.slot(f.valves), func(h pitch.Slot, k int) (float64, bool) {
			carrier, ok := of[h.Partial]
			if !ok {
				return 0, false
			}
			m, ok := at(float64(k) * r.Hz)
			return min(1, m/carrier.Height), ok
		})
		if known {
			r.support = &support
		}
	}
}

// finish shows what was found, and records it when nothing speaks against it.
func (b *benchSession) finish(ctx context.Context, store catalog.Store) error {
	b.compareFiles()
	if err := b.fillReadings(); err != nil {
		return err
	}
	if !b.json {
		if err := b.print(); err != nil {
			return err
		}
	}
	err := b.store(ctx, store)
	if b.json {
		if failed := show.JSON(b.factory.Streams.Out, b.fields()); failed != nil {
			return failed
		}
	}
	return err
}

// misplaced is how far, in cents, the curves of one session may differ in their
// common shift before a fingering is doubted: half a semitone and a little.
const misplaced = 60.0

// compareFiles doubts fingerings whose resonances lie far from where those of
// the other files would have them.
func (b *benchSession) compareFiles() {
	if len(b.files) < 3 {
		return
	}
	var shifts []float64
	for _, f := range b.files {
		shifts = append(shifts, f.numbering.Shift-f.numbering.Expected)
	}
	slices.Sort(shifts)
	middle := shifts[len(shifts)/2]
	for _, f := range b.files {
		off := f.numbering.Shift - f.numbering.Expected - middle
		if math.Abs(off) > misplaced {
			b.doubts = append(b.doubts, fmt.Sprintf("%s: its resonances lie %s cents from where the other files have theirs: was it valves %s?", filepath.Base(f.path), show.Signed(off, 0), f.valves))
		}
	}
}

// fillReadings makes readings of the resonances. Invalid: some lie outside the
// accepted range, or there are none.
func (b *benchSession) fillReadings() error {
	repeats := map[pitch.Slot]int{}
	var outside []string
	for _, f := range b.files {
		for _, r := range f.resonances {
			if r.why != "" {
				continue
			}
			s := r.slot(f.valves)
			repeats[s]++
			odd := math.Abs(r.cents) > catalog.MaxCents
			if odd && !b.keepOdd {
				outside = append(outside, fmt.Sprintf("%s: the resonance at %.2f Hz is %s cents from %s (%s), outside %g..%g", f.path, r.Hz, show.Signed(r.cents, 0), s.Note(), s, catalog.MinCents, catalog.MaxCents))
			}
			b.session.Readings = append(b.session.Readings, catalog.Reading{Slot: s, Repeat: repeats[s], Cents: r.cents, Odd: odd})
		}
	}
	switch {
	case len(outside) > 0:
		outside = append(outside, b.doubts...)
		return catalog.Errorf(catalog.Invalid, "check the valves, the horn's key and A4, say with --first what the lowest resonance is, or keep such readings for review with --keep-odd",
			"%s", strings.Join(outside, "\n"))
	case len(b.session.Readings) == 0:
		return catalog.Errorf(catalog.Invalid, "check the columns, the valves and the horn's key, or say with --first what the lowest resonance is", "no resonance in these files is a partial of the horn")
	}
	b.session.Source = source(b.files)
	return nil
}

// store records the session, unless it is there already, is only tried, or is
// doubtful and nobody agrees.
func (b *benchSession) store(ctx context.Context, store catalog.Store) error {
	s := b.factory.Streams
	if err := b.session.Fits(b.horn, b.mouthpiece); err != nil {
		return err
	}
	same, err := b.already(ctx, store)
	if err != nil {
		return err
	}
	if same != "" {
		b.session.Name = same
		b.say("In the catalog already as session %s: nothing is recorded.", same)
		return nil
	}
	if b.session.Name, err = freeName(ctx, store, b.name, b.session.At, b.horn.Label); err != nil {
		return err
	}
	if b.dryRun {
		b.say("Nothing is recorded; without --dry-run this would be session %s.", b.session.Name)
		return nil
	}
	if err := b.agree(ctx); err != nil {
		return err
	}
	if err := store.Apply(ctx, catalog.Changes{Sessions: []catalog.Session{b.session}}); err != nil {
		return err
	}
	b.stored = true
	b.say("Recorded session %s: %s of method impedance.", b.session.Name, match.Count(len(b.session.Readings), "reading"))
	if !b.json {
		s.Note("Look at it, or at what the catalog makes of it:")
		s.Command("centwise session show " + catalog.ShellWord(b.session.Name) + b.factory.Here())
		s.Command("centwise predict " + catalog.ShellWord(b.horn.Label) + " " + catalog.ShellWord(b.mouthpiece.Label) + b.factory.Here())
	}
	return nil
}

// say is [Streams.Note] for people.
func (b *benchSession) say(format string, args ...any) {
	if !b.json {
		b.factory.Streams.Note(format, args...)
	}
}

// already names a session with the same setup and readings.
func (b *benchSession) already(ctx context.Context, store catalog.Store) (string, error) {
	list, err := store.Sessions(ctx, catalog.SessionFilter{Horn: b.horn.ID, Mouthpiece: b.mouthpiece.ID, Method: catalog.MethodImpedance})
	if err != nil {
		return "", err
	}
	own := slices.Clone(b.session.Readings)
	slices.SortFunc(own, catalog.CompareReadings)
	for _, x := range list {
		if x.ReadingCount != len(own) {
			continue
		}
		whole, err := store.Session(ctx, string(x.ID))
		if err != nil {
			return "", err
		}
		if slices.Equal(whole.Readings, own) {
			return whole.Name, nil
		}
	}
	return "", nil
}

// agree asks whether to record what is doubtful.
func (b *benchSession) agree(ctx context.Context) error {
	if len(b.doubts) == 0 || b.yes {
		return nil
	}
	refused := catalog.Errorf(catalog.Invalid, "correct --valves, say with --first what the lowest resonance is, or record it as it is with --yes", "nothing is recorded, since this is doubtful: %s", strings.Join(b.doubts, "; "))
	asker := b.factory.Asker()
	if asker == nil || b.json {
		return refused
	}
	answer := "no"
	err := asker.Ask(ctx, form.Form{Title: "Record these resonances?", Pages: []form.Page{{Title: "What is doubtful", Questions: []form.Question{{
		Name: "Record", Help: strings.Join(b.doubts, "; "), Answer: &answer,
		Choices: []form.Choice{{Value: "no", Label: "leave, and record nothing"}, {Value: "yes", Label: "record them as they are numbered"}},
	}}}}})
	if err != nil {
		return err
	}
	if answer != "yes" {
		return form.ErrLeft
	}
	return nil
}
