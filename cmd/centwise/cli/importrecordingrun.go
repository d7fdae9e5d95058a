package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/form"
	"centwise/cmd/centwise/show"
	"centwise/importers/recording"
	"centwise/match"
)

// hearing is what was heard in all files, and who played it.
type hearing struct {
	*recordingOptions
	taken
	occasion occasion // without a draft; its horn is empty when it is not known
	a4       float64

	files     []*recording.Recording
	clocks    []float64        // by file: what the clock was corrected by, cents; empty without a reference
	kept      []recording.Tone // of all files, in order
	alignment recording.Alignment
	played    time.Time // by the date of the first file
}

func recordingRun(ctx context.Context, o *recordingOptions) error {
	h := &hearing{recordingOptions: o}
	var err error
	if h.taken, err = o.take(); err != nil {
		return err
	}
	h.a4 = h.session.Pitch()
	var store catalog.Store
	if !o.dryRun || o.horn != "" {
		if store, err = o.factory.Existing(ctx); err != nil {
			return err
		}
		defer store.Close()
		if err := h.find(ctx, store); err != nil {
			return err
		}
	}
	if err := h.listen(ctx); err != nil {
		return err
	}
	if err := h.align(); err != nil {
		return err
	}
	return h.finish(ctx, store)
}

// find looks the gear up, after asking for what is missing if somebody is there
// to be asked.
func (h *hearing) find(ctx context.Context, store catalog.Store) (err error) {
	if h.dryRun {
		h.occasion.horn, err = store.Horn(ctx, h.horn)
		return err
	}
	m := measureOptions{factory: h.factory, horn: h.horn, mouthpiece: h.mouthpiece, player: h.player, adapter: h.adapter}
	if missing := m.required(); len(missing) > 0 {
		if err := h.askGear(ctx, store, &m, missing); err != nil {
			return err
		}
	}
	if err := h.occasion.find(ctx, store, m.horn, m.mouthpiece, m.player); err != nil {
		return err
	}
	s := &h.session
	s.ID, s.Horn, s.Mouthpiece, s.Player = catalog.NewID(), h.occasion.horn.ID, h.occasion.mouthpiece.ID, h.occasion.player.ID
	return s.Fits(h.occasion.horn, h.occasion.mouthpiece)
}

func (h *hearing) askGear(ctx context.Context, store catalog.Store, m *measureOptions, missing []string) error {
	asker := h.factory.Asker()
	if asker == nil {
		return usagef("name them, or see what is heard with --dry-run", "%s missing", areMissing(missing))
	}
	known, err := m.lookUp(ctx, store)
	if err != nil {
		return err
	}
	questions := slices.DeleteFunc(m.gearQuestions(known)[:3], func(q form.Question) bool { return *q.Answer != "" })
	m.preset(known)
	return asker.Ask(ctx, form.Form{Title: "Who played what", Pages: []form.Page{{Title: "In the recording", Questions: questions}}})
}

func areMissing(flags []string) string {
	if len(flags) == 1 {
		return flags[0] + " is"
	}
	return strings.Join(flags, " and ") + " are"
}

// listen hears all files.
func (h *hearing) listen(ctx context.Context) error {
	for _, path := range h.recordingOptions.files {
		r, err := h.listenTo(ctx, path)
		if err != nil {
			return err
		}
		if h.referenceHz > 0 {
			off, err := r.Calibrate(h.referenceHz)
			if err != nil {
				return err
			}
			h.clocks = append(h.clocks, off)
		}
		h.files = append(h.files, r)
		h.kept = append(h.kept, r.Kept()...)
	}
	return nil
}

func (h *hearing) listenTo(ctx context.Context, path string) (*recording.Recording, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading the recording", Hint: "check the name of the file", Err: err}
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.Unavailable, What: "reading " + path, Err: err}
	}
	if info.IsDir() {
		return nil, catalog.Errorf(catalog.Invalid, "name the files in it", "%s is a folder", path)
	}
	if h.played.IsZero() || info.ModTime().Before(h.played) {
		h.played = info.ModTime()
	}
	return recording.Listen(ctx, file, filepath.Base(path), h.factory.Progress())
}

// align finds out which notes the tones are.
func (h *hearing) align() error {
	horn := h.occasion.horn
	if horn.ID == "" {
		return nil
	}
	expected, err := h.expected(horn)
	if err != nil {
		return err
	}
	var files [][]recording.Tone
	for _, f := range h.files {
		files = append(files, f.Kept())
	}
	chosen, err := h.chosen(horn)
	if err != nil {
		return err
	}
	h.alignment = recording.Align(files, expected).Decided(chosen, expected)
	return nil
}

// expected are the notes that were to be played.
func (h *hearing) expected(horn catalog.Horn) (recording.Expected, error) {
	e := recording.Expected{Transposition: horn.Transposition(), A4Hz: h.a4, AnyOrder: h.nearest}
	if h.notes != "" {
		var err error
		if e.Slots, err = recording.ParseNotes(h.notes, horn.Valves); err != nil {
			return e, usagef(`--notes "F#3-C6 C6-F#3"`, "--notes: %v", err)
		}
		return e, nil
	}
	if h.nearest {
		e.Slots = pitch.UsualSlots(0, pitch.TopUsual, horn.Valves)
		return e, nil
	}
	low, high, err := (&measureOptions{}).compass(horn, &h.occasion.player)
	e.Slots = recording.UpAndDown(low, high, horn.Valves)
	return e, err
}

// chosen is what --set says of tones, by their places.
func (h *hearing) chosen(horn catalog.Horn) (map[int]recording.Match, error) {
	out := map[int]recording.Match{}
	for _, c := range h.choices {
		at := c.tone - 1
		if at >= len(h.kept) {
			return nil, usagef("'centwise import recording ... --dry-run' lists the tones", "--set %d: there are %s", c.tone, match.Count(len(h.kept), "tone"))
		}
		if c.out {
			out[at] = recording.Match{}
			continue
		}
		list, err := recording.ParseNotes(c.text, horn.Valves)
		if err != nil {
			return nil, usagef("--set 12=Eb4", "--set %d=%s: %v", c.tone, c.text, err)
		}
		note := list[0].Note() + pitch.Note(horn.Transposition())
		out[at] = recording.Match{Placed: true, Slot: list[0], Cents: h.kept[at].Cents(note, h.a4)}
	}
	return out, nil
}

// finish shows what was heard and records it if that is wanted.
func (h *hearing) finish(ctx context.Context, store catalog.Store) error {
	h.session.Readings = h.readings()
	if !h.json {
		if err := h.show(); err != nil {
			return err
		}
	}
	if err := h.draw(); err != nil {
		return err
	}
	stored, err := h.record(ctx, store)
	if h.json {
		if err := show.JSON(h.factory.Streams.Out, h.fields(stored)); err != nil {
			return err
		}
	}
	if err != nil {
		return err
	}
	if n := len(h.inDoubt()); stored && n > 0 {
		return &skippedError{fmt.Sprintf("%s in doubt and left out", match.Count(n, "tone")), "say what they are with --set, and record again after retracting this session"}
	}
	return nil
}

// readings are the tones that are placed without doubt.
func (h *hearing) readings() []catalog.Reading {
	var out []catalog.Reading
	repeats := map[pitch.Slot]int{}
	for _, m := range h.alignment.Matches {
		if m.Placed && len(m.Others) == 0 {
			repeats[m.Slot]++
			out = append(out, catalog.Reading{Slot: m.Slot, Repeat: repeats[m.Slot], Cents: m.Cents})
		}
	}
	return out
}

// inDoubt are the numbers of tones that may be several notes.
func (h *hearing) inDoubt() (numbers []int) {
	for i, m := range h.alignment.Matches {
		if len(m.Others) > 0 {
			numbers = append(numbers, i+1)
		}
	}
	return numbers
}

// record records the session after somebody agreed, unless --dry-run.
func (h *hearing) record(ctx context.Context, store catalog.Store) (stored bool, err error) {
	if h.dryRun {
		return false, nil
	}
	s := &h.session
	if len(s.Readings) == 0 {
		return false, catalog.Errorf(catalog.Invalid, "see what was heard with --dry-run --png heard.png", "no note was heard that can be recorded")
	}
	if s.At.IsZero() {
		s.At = h.played
	}
	s.Remark, s.Source = h.remarks(), h.source()
	if s.Name, err = freeName(ctx, store, s.Name, s.At, h.occasion.horn.Label); err != nil {
		return false, err
	}
	if err := h.checked(); err != nil {
		return false, err
	}
	if agreed, err := h.agreed(ctx); !agreed || err != nil {
		return false, err
	}
	if err := store.Apply(ctx, catalog.Changes{Sessions: []catalog.Session{*s}}); err != nil {
		return false, err
	}
	streams := h.factory.Streams
	if !h.json {
		streams.Note("Recorded session %s: %s.", s.Name, match.Count(len(s.Readings), "reading"))
		streams.Command("centwise session show " + catalog.ShellWord(s.Name) + h.factory.Here())
	}
	return true, nil
}

// checked refuses what the catalog would refuse, before anybody is asked.
func (h *hearing) checked() error {
	s := h.session
	s.Normalize()
	return s.Validate()
}

// remarks is the remark of the user, with what the recorder's clock was corrected
// by.
func (h *hearing) remarks() string {
	out := []string{}
	if h.session.Remark != "" {
		out = append(out, h.session.Remark)
	}
	for i, off := range h.clocks {
		out = append(out, fmt.Sprintf("recorder clock of %s corrected by %+.2f cents against %g Hz", h.files[i].Name, 0-off, h.referenceHz))
	}
	return cutAt(strings.Join(out, "; "), catalog.MaxRemarkLength)
}

func (h *hearing) source() string {
	var names []string
	for _, f := range h.files {
		names = append(names, f.Name)
	}
	return cutAt(strings.Join(names, ", "), catalog.MaxSourceLength)
}

// cutAt shortens text to a number of characters.
func cutAt(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most-3]) + "..."
	}
	return text
}

// agreed asks whether to record, unless --yes says so already.
func (h *hearing) agreed(ctx context.Context) (bool, error) {
	if h.yes {
		return true, nil
	}
	s := h.factory.Streams
	if !h.factory.MayAsk() || !s.Person {
		return false, usagef("the same with --yes, when the notes are right", "nothing is recorded before somebody agrees")
	}
	s.Note("Record %s as session %s?", match.Count(len(h.session.Readings), "reading"), h.session.Name)
	fmt.Fprint(s.Err, "Type yes to record, anything else to leave it: ")
	line, err := s.Lines().Next(ctx)
	if err != nil {
		fmt.Fprintln(s.Err) // leaves the line of the question
	}
	if err != nil && !errors.Is(err, form.ErrEnded) {
		return false, err
	}
	answer := strings.ToLower(strings.TrimSpace(line))
	if answer != "yes" && answer != "y" {
		s.Note("Nothing is recorded.")
		return false, nil
	}
	return true, nil
}
