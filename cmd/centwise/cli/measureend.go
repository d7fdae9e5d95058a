package cli

import (
	"context"
	"fmt"
	"strings"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/protocol"
)

// finish records the session, closes its draft, and says what it taught. The
// session is recorded even when Ctrl-C comes while that is worked out.
func (m *measuring) finish(ctx context.Context) error {
	spread := m.sitting.Spread()
	if err := m.showSpread(spread); err != nil {
		return err
	}
	before, err := m.standing(ctx)
	keeping, end := outliving(ctx)
	defer end()
	if err := m.record(keeping); err != nil {
		if ctx.Err() != nil {
			return m.stopped(ctx, err)
		}
		return err
	}
	name := m.occasion.draft.Session.Name
	if !m.json {
		m.streams.Note("Recorded session %s: %s of %s.", name, match.Count(len(m.sitting.Readings()), "reading"), match.Count(len(spread.Notes), "note"))
	}
	m.sayFar()
	var after *match.Standing
	if err == nil {
		after, err = m.standing(ctx)
	}
	switch {
	case ctx.Err() != nil:
		return &stopError{"stopped; session " + name + " is recorded, but not compared with what was known before", "", context.Canceled}
	case err != nil:
		return fmt.Errorf("session %s is recorded, but what it taught can't be said: %w", name, err)
	}
	if before == nil {
		return m.conclude(spread, nil, nil)
	}
	next, err := m.mostUseful(ctx)
	if err != nil {
		m.streams.Note("Which session would teach most next can't be said: %v.", err)
	}
	return m.conclude(spread, match.Learn(before, after, m.taught), next)
}

// nextLooked is how many sessions are looked into at the end of one.
const nextLooked = 24

// mostUseful is which session would now teach most about the mouthpiece for this horn
// and this player; nil if there is nothing to choose.
func (m *measuring) mostUseful(ctx context.Context) (*match.Next, error) {
	e, ok := m.engine.(match.Foresight)
	if !ok {
		return nil, nil
	}
	n, err := match.SuggestNext(ctx, e, match.NextQuestion{
		Choices: []match.Choice{{Horn: m.taught.Horn, Player: m.taught.Player, Mouthpieces: m.taught.Mouthpieces, Filter: match.Filter{Adapter: m.taught.Adapter}}},
		Horns:   []catalog.Horn{m.taught.Horn}, Mouthpieces: m.taught.Mouthpieces, Players: []catalog.Player{*m.taught.Player},
		Adapter: m.taught.Adapter, Sessions: nextLooked, Limit: 1,
	})
	if catalog.KindOf(err) == catalog.NotFound {
		return nil, nil // fewer than two mouthpieces
	}
	return n, err
}

// showSpread shows how the readings agree, to people.
func (m *measuring) showSpread(spread protocol.Spread) error {
	if m.json {
		return nil
	}
	if err := show.SpreadTable(spread).Write(m.streams.Out, m.streams.Style); err != nil {
		return err
	}
	m.streams.Notes(show.SpreadWords(spread))
	return nil
}

// sayFar names the readings that a person would have been asked for again.
func (m *measuring) sayFar() {
	if len(m.far) > 0 {
		m.streams.Note("Far from the others, and taken as they are: %s. Look at them with 'centwise catalog check'.", strings.Join(m.far, ", "))
	}
}

// record makes the draft a session.
func (m *measuring) record(ctx context.Context) error {
	d := m.occasion.draft
	s := d.Session
	s.ID, s.Readings = d.ID, m.sitting.Readings()
	err := m.store.Apply(ctx, catalog.Changes{Sessions: []catalog.Session{s}, Finished: []catalog.DraftEnd{{ID: d.ID, Lines: len(d.Lines)}}})
	if catalog.KindOf(err) == catalog.Conflict {
		if _, missing := m.store.Session(ctx, s.Name); missing == nil {
			return catalog.Errorf(catalog.Conflict, m.resumeCommand()+" --name "+catalog.ShellWord(s.Name+" b"),
				"there is a session %q by now; nothing is lost, record this one under another name", s.Name)
		}
	}
	return err
}

// standing is what is known as the catalog stands; nil if nobody wants to know.
func (m *measuring) standing(ctx context.Context) (*match.Standing, error) {
	if m.noFit {
		return nil, nil
	}
	if m.taught.Mouthpieces == nil {
		list, err := m.store.Mouthpieces(ctx, false)
		if err != nil {
			return nil, err
		}
		if m.occasion.mouthpiece.Retired {
			list = append(list, m.occasion.mouthpiece)
		}
		m.taught = match.Taught{Horn: m.occasion.horn, Mouthpiece: m.occasion.mouthpiece, Player: &m.occasion.player, Mouthpieces: list, Adapter: m.occasion.draft.Session.Adapter}
	}
	m.engine = nil // before another is opened: one is large enough
	var err error
	if m.engine, err = m.factory.Engine(ctx, m.store, m.progress()); err != nil {
		return nil, err
	}
	return match.Stand(ctx, m.engine, m.taught)
}

// progress is that of long work; on a terminal that can't move its cursor, which
// a screen reader may be reading, a sentence.
func (m *measuring) progress() catalog.Counter {
	if m.factory.Getenv("TERM") == "dumb" {
		m.streams.Note("Working out what is known ...")
		return catalog.NoCounter{}
	}
	return m.factory.Progress()
}

// conclude prints the result.
func (m *measuring) conclude(spread protocol.Spread, lesson *match.Lesson, next *match.Next) error {
	if m.json {
		return show.JSON(m.streams.Out, m.fields(spread, lesson, next))
	}
	if lesson != nil {
		m.streams.Notes(lesson.Words())
		if next != nil {
			m.streams.Note("%s", next.Brief())
		}
	}
	m.streams.Note("Look at it, or at what it changed:")
	m.streams.Command("centwise session show " + catalog.ShellWord(m.occasion.draft.Session.Name) + m.factory.Here())
	m.streams.Command("centwise rank --horn " + catalog.ShellWord(m.occasion.horn.Label) + m.factory.Here())
	m.streams.Note("%s", cautionShared)
	return nil
}

// fields is the result as JSON.
func (m *measuring) fields(spread protocol.Spread, lesson *match.Lesson, next *match.Next) show.Fields {
	notes, skipped := []show.Fields{}, []string{}
	for _, n := range spread.Notes {
		notes = append(notes, show.Fields{
			{Name: "note", Value: n.Slot.Note().String()}, {Name: "fingering", Value: n.Slot.Valves.String()}, {Name: "partial", Value: n.Slot.Partial},
			{Name: "readings", Value: n.Readings}, {Name: "cents", Value: n.Cents}, {Name: "spread", Value: n.Spread},
		})
	}
	for _, s := range spread.Skipped {
		skipped = append(skipped, s.String())
	}
	far := m.far
	if far == nil {
		far = []string{}
	}
	var then *match.NextSession
	if next != nil && len(next.Sessions) > 0 {
		then = &next.Sessions[0]
	}
	d := m.occasion.draft
	return show.Fields{
		{Name: "session", Value: d.Session.Name}, {Name: "id", Value: d.ID}, {Name: "horn", Value: m.occasion.horn.Label},
		{Name: "mouthpiece", Value: m.occasion.mouthpiece.Label}, {Name: "player", Value: m.occasion.player.Label},
		{Name: "readings", Value: len(m.sitting.Readings())}, {Name: "notes", Value: notes}, {Name: "sd", Value: spread.SD}, {Name: "drift", Value: spread.Drift},
		{Name: "skipped", Value: skipped}, {Name: "far", Value: far}, {Name: "lesson", Value: lesson}, {Name: "next", Value: then},
	}
}
