package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/form"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/protocol"
)

// measuring is a session under way at the keyboard.
type measuring struct {
	*measureOptions
	store   catalog.Store
	streams *Streams
	lines   *form.Lines
	person  bool // somebody types and reads; else lines come from a file or a pipe
	resumed bool

	occasion occasion
	sitting  *protocol.Sitting
	read     int          // lines of input so far
	far      []string     // notes whose far readings were taken without asking again
	ending   bool         // done was typed while notes are left
	taught   match.Taught // what is asked at the end; see standing
	engine   match.Engine // that answered last
}

// stopError says that measuring stopped before its end. What was entered is
// kept.
type stopError struct {
	what, resume string
	cause        error // context.Canceled for Ctrl-C; nil if somebody wanted to stop
}

func (e *stopError) Error() string { return e.what }
func (e *stopError) Unwrap() error { return e.cause }

// measure takes line after line until every note is read. Errors: stopError, or
// that of the store, or of a line from a file that can't be read.
func (m *measuring) measure(ctx context.Context) error {
	m.introduce()
	for {
		done, err := m.step(ctx)
		if done || err != nil {
			return err
		}
	}
}

// introduce says what is measured and how.
func (m *measuring) introduce() {
	if !m.person {
		return
	}
	m.streams.Note("%s", m.occasion.describe())
	if m.resumed {
		m.streams.Note("Going on where you were: %s are in.", match.Count(len(m.sitting.Readings()), "reading"))
	} else {
		for i, rule := range protocol.Rules(m.occasion.draft.Session.Pitch()) {
			m.streams.Note("%d. %s", i+1, rule)
		}
	}
	m.streams.Note("Type the cents that the tuner shows for each note, as in -3 or +4; ? explains more. Notes in brackets are what the tuner calls them.")
	fmt.Fprintln(m.streams.Err)
}

// step takes one line. Done: measuring is over.
func (m *measuring) step(ctx context.Context) (done bool, err error) {
	place, more := m.sitting.Next()
	line, err := m.next(ctx, place, more)
	switch {
	case errors.Is(err, form.ErrEnded) && !more && !m.person:
		return true, nil
	case err != nil:
		return false, m.stopped(ctx, err)
	}
	entry, err := protocol.ParseEntry(line)
	if err != nil {
		return false, m.refuse(err)
	}
	wasEnding := m.ending
	m.ending = false
	switch entry.Command {
	case protocol.Empty:
		return !more && m.person, nil
	case protocol.Help:
		m.help()
	case protocol.Quit:
		return false, m.stopped(ctx, nil)
	case protocol.Done:
		m.ending = wasEnding
		return m.end(more)
	default:
		return false, m.enter(ctx, place, line, entry)
	}
	return false, nil
}

// next asks for a line.
func (m *measuring) next(ctx context.Context, place protocol.Place, more bool) (string, error) {
	if m.person {
		m.streams.Flush()
		fmt.Fprint(m.streams.Err, m.prompt(place, more))
	}
	line, err := m.lines.Next(ctx)
	if err != nil && m.person {
		fmt.Fprintln(m.streams.Err) // leaves the line of the prompt
	}
	m.read++
	return line, err
}

// prompt names the note in one line that a screen reader can read.
func (m *measuring) prompt(p protocol.Place, more bool) string {
	if !more {
		return "All notes are read. Enter records them, undo takes one back: "
	}
	note := m.streams.Talk.Paint(show.Strong, p.Slot.Note().String())
	head := fmt.Sprintf("Round %d of %d, %d of %d", p.Round, p.Rounds, p.Number, p.Of)
	if p.Again {
		head = "Again"
	}
	return fmt.Sprintf("%s: %s, %s (%s): ", head, note, show.Fingering(p.Slot.Valves), m.sounds(p.Slot))
}

// sounds is the note that the tuner names.
func (m *measuring) sounds(s pitch.Slot) string {
	return (s.Note() + pitch.Note(m.occasion.horn.Transposition())).String()
}

// refuse says what is wrong with a line; from a file that is the end.
func (m *measuring) refuse(err error) error {
	var domain *catalog.Error
	if !m.person || !errors.As(err, &domain) {
		return m.badLine(err)
	}
	m.streams.Note("Not taken: %s; %s.", domain.What, domain.Hint)
	return nil
}

// badLine is the error for a line of a file that can't be used.
func (m *measuring) badLine(err error) error {
	place := "after the last note"
	if p, more := m.sitting.Next(); more {
		place = fmt.Sprintf("for %s in round %d", p.Slot.Note(), p.Round)
	}
	what := err.Error()
	var domain *catalog.Error
	if errors.As(err, &domain) {
		what = domain.What
	}
	return catalog.Errorf(catalog.Invalid, "correct it and enter the rest from there: "+m.resumeCommand(),
		"line %d, %s: %s; the lines before it are kept", m.read, place, what)
}

func (m *measuring) help() {
	for _, text := range []string{
		"Cents as the tuner shows them, + sharp, - flat: -3 or +4.5. Without a sign is sharp. Several readings of the note: -3 -5 -4.",
		"skip leaves the note out. undo takes the last line back. keep takes a reading that was asked for again as it is.",
		"quit keeps everything and goes on another time. done records what there is. Play a note as often as you like before you type.",
	} {
		m.streams.Note("%s", text)
	}
}

// end is the answer to done.
func (m *measuring) end(more bool) (done bool, err error) {
	place, _ := m.sitting.Next()
	switch {
	case len(m.sitting.Readings()) == 0:
		return false, m.refuse(catalog.Errorf(catalog.Invalid, "measure a note, or quit", "there is no reading to record"))
	case place.Again && m.person:
		return false, m.refuse(catalog.Errorf(catalog.Invalid, "play the note again, keep it or skip it", "a reading is in doubt"))
	case more && m.person && !m.ending:
		m.ending = true
		m.streams.Note("Notes are left. Type done once more to record without them.")
		return false, nil
	}
	return true, nil
}

// enter writes readings, skip, keep or undo down and moves on.
func (m *measuring) enter(ctx context.Context, place protocol.Place, line string, entry protocol.Entry) error {
	answer, err := m.sitting.Answer(entry, false)
	if err != nil {
		return m.refuse(err)
	}
	if answer.Far != protocol.Near && !m.person {
		m.far = append(m.far, fmt.Sprintf("%s in round %d", place.Slot.Note(), place.Round))
		if answer, err = m.sitting.Answer(entry, true); err != nil {
			return m.refuse(err)
		}
	}
	d := &m.occasion.draft
	// What was typed is kept, also when Ctrl-C comes at the same moment.
	keeping, end := outliving(ctx)
	defer end()
	if err := m.store.AddDraftLine(keeping, d.ID, len(d.Lines)+1, answer.Line); err != nil {
		if ctx.Err() != nil {
			return m.stopped(ctx, err)
		}
		return m.notWritten(err)
	}
	d.Lines = append(d.Lines, answer.Line)
	if err := m.sitting.Accept(answer.Line); err != nil {
		return err
	}
	if m.person {
		m.comment(line, entry, answer, place)
	}
	return nil
}

// settling is how long what is to be kept may still take after Ctrl-C.
const settling = 2 * time.Second

// outliving is a context that ends soon after another one, or with end: another
// program that holds the catalog must not make Ctrl-C wait until it has finished.
func outliving(ctx context.Context) (longer context.Context, end context.CancelFunc) {
	longer, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() { time.AfterFunc(settling, cancel) })
	return longer, func() {
		stop()
		cancel()
	}
}

// notWritten is what comes of a line that could not be written down. A catalog
// that others hold, or a full disk, may be better in a moment.
func (m *measuring) notWritten(err error) error {
	var domain *catalog.Error
	kind := catalog.KindOf(err)
	if !m.person || !errors.As(err, &domain) || kind != catalog.Busy && kind != catalog.Unavailable {
		return err
	}
	m.streams.Note("Not written down: %s; %s. Then type it again.", domain.What, domain.Hint)
	return nil
}

// comment says what there is to say after a line.
func (m *measuring) comment(line string, entry protocol.Entry, answer protocol.Answer, place protocol.Place) {
	if entry.Command == protocol.Read && strings.ContainsRune(line, ',') {
		var read []string
		for _, x := range entry.Cents {
			read = append(read, show.Signed(x, -1))
		}
		m.streams.Note("Read as %s.", strings.Join(read, " and "))
	}
	switch answer.Far {
	case protocol.FromNote:
		m.streams.Note("That is far from the other readings of this note. Play it again and type what the tuner says; keep if it is right all the same.")
		return
	case protocol.FromSession:
		m.streams.Note("That is unlikely beside the other notes: check fingering, sign and note name, and play it again; keep if it is right all the same.")
		return
	}
	after, more := m.sitting.Next()
	if entry.Command != protocol.Undo && more && after.Round > place.Round {
		m.roundDone(place)
	}
}

// roundDone says how rounds agree, and that lips need a rest.
func (m *measuring) roundDone(place protocol.Place) {
	m.streams.Note("Round %d of %d is done. Take a minute's rest, and drain the horn.", place.Round, place.Rounds)
	if place.Round > 1 {
		for _, text := range show.SpreadWords(m.sitting.Spread()) {
			m.streams.Note("%s", text)
		}
	}
}

// stopped ends measuring before its end: by Ctrl-C (a cancelled context), the
// end of the input, or because somebody wants to (nil).
func (m *measuring) stopped(ctx context.Context, cause error) error {
	kept := fmt.Sprintf("stopped; %s of %s kept", match.Count(len(m.sitting.Readings()), "reading"), m.occasion.draft.Session.Name)
	switch {
	case ctx.Err() != nil:
		return &stopError{kept, m.resumeCommand(), context.Canceled}
	case cause == nil || errors.Is(cause, form.ErrEnded) && m.person:
		return &stopError{kept, m.resumeCommand(), nil}
	case errors.Is(cause, form.ErrEnded):
		place, _ := m.sitting.Next()
		return catalog.Errorf(catalog.Invalid, "enter the rest with: "+m.resumeCommand(),
			"the input ended at %s, %d of %d in round %d of %d; what came before is kept", place.Slot.Note(), place.Number, place.Of, place.Round, place.Rounds)
	}
	return &catalog.Error{Kind: catalog.Unavailable, What: "reading the input", Err: cause, Hint: "what was entered is kept: " + m.resumeCommand()}
}

func (m *measuring) resumeCommand() string {
	return "centwise measure --resume " + string(m.occasion.draft.ID) + m.factory.Here()
}
