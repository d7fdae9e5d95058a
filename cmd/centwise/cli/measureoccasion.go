package cli

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/fit"
	"centwise/match/protocol"
)

// occasion is who measures what: a draft, and the records that it names.
type occasion struct {
	draft      catalog.Draft
	horn       catalog.Horn
	mouthpiece catalog.Mouthpiece
	player     catalog.Player
}

// occasion makes a draft of the options, without opening it.
func (o *measureOptions) occasion(ctx context.Context, store catalog.Store) (occasion, error) {
	session, err := o.facts()
	if err != nil {
		return occasion{}, err
	}
	s := occasion{draft: catalog.Draft{ID: catalog.NewID(), Started: o.factory.Now(), Session: session}}
	if err := s.find(ctx, store, o.horn, o.mouthpiece, o.player); err != nil {
		return s, err
	}
	to := &s.draft.Session
	to.Horn, to.Mouthpiece, to.Player = s.horn.ID, s.mouthpiece.ID, s.player.ID
	if to.At.IsZero() {
		to.At = s.draft.Started
	}
	low, high, err := o.compass(s.horn, &s.player)
	if err != nil {
		return s, err
	}
	if s.draft.Seed, err = o.seed(); err != nil {
		return s, err
	}
	rounds, err := o.roundCount()
	if err != nil {
		return s, err
	}
	slots, err := o.slotList(low, high, s.horn.Valves)
	if err != nil {
		return s, err
	}
	s.draft.Rounds = protocol.Rounds(slots, rounds, s.draft.Seed)
	if to.Name, err = freeName(ctx, store, o.name, to.At, s.horn.Label); err != nil {
		return s, err
	}
	return s, nil
}

// occasionOf finds the records that a draft names.
func occasionOf(ctx context.Context, store catalog.Store, d catalog.Draft) (occasion, error) {
	s := occasion{draft: d}
	return s, s.find(ctx, store, string(d.Session.Horn), string(d.Session.Mouthpiece), string(d.Session.Player))
}

func (s *occasion) find(ctx context.Context, store catalog.Store, horn, mouthpiece, player string) (err error) {
	if s.horn, err = store.Horn(ctx, horn); err != nil {
		return err
	}
	if s.mouthpiece, err = store.Mouthpiece(ctx, mouthpiece); err != nil {
		return err
	}
	s.player, err = store.Player(ctx, player)
	return err
}

// facts are the options that need no catalog.
func (o *measureOptions) facts() (catalog.Session, error) {
	s := catalog.Session{Name: o.name, Contributor: o.contributor, Dynamic: o.dynamic, Remark: o.remark, Adapter: o.adapter, Method: catalog.MethodTuner}
	for _, m := range []struct {
		flag, text, unit string
		to               **float64
	}{
		{"temperature-c", o.temperature, "C", &s.TemperatureC}, {"slide-mm", o.slide, "mm", &s.SlideMM}, {"gap-mm", o.gap, "mm", &s.GapMM},
	} {
		var err error
		if *m.to, err = flagNumber(m.flag, m.text, m.unit, "12.5"); err != nil {
			return s, err
		}
	}
	a4, err := flagNumber("a4-hz", o.a4, "Hz", "442")
	if err != nil {
		return s, err
	}
	if a4 != nil {
		s.A4Hz = *a4
	}
	if s.At, err = flagDay("date", o.date); err != nil {
		return s, err
	}
	for _, check := range []func() error{
		func() error { _, err := o.seed(); return err },
		func() error { _, err := o.roundCount(); return err },
		func() error { return o.checkSlots() },
	} {
		if err := check(); err != nil {
			return s, err
		}
	}
	return s, nil
}

// flagNumber reads the measure that a flag gives, nil if it is empty.
func flagNumber(name, text, unit, example string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := parseNumber(text, unit)
	if err != nil {
		return nil, usagef("--"+name+" "+example, "--%s %q: %v", name, text, err)
	}
	return &v, nil
}

// flagDay reads the day that a flag gives, the zero time if it is empty.
func flagDay(name, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	at, err := parseDay(text)
	if err != nil {
		return at, usagef("--"+name+" 2026-01-31", "--%s %q: %v", name, text, err)
	}
	return at, nil
}

// parseNumber reads a number with a decimal point or comma, and its unit if it is
// written too.
func parseNumber(text, unit string) (float64, error) {
	s := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), unit))
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("write a number of %s, as in 12.5", unit)
	}
	return v, nil
}

// parseDay reads a date, with a time if wanted, of the local time zone.
func parseDay(text string) (time.Time, error) {
	for _, layout := range []string{time.DateOnly, "2006-01-02 15:04", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, strings.TrimSpace(text), time.Local); err == nil {
			return t, nil
		}
	}
	if t, err := time.Parse(time.RFC3339, strings.TrimSpace(text)); err == nil {
		return t, nil
	}
	return time.Time{}, fmt.Errorf("write year, month and day, as in 2026-01-31 or \"2026-01-31 19:30\"")
}

// Seeds that are chosen for people have four digits: they are written on paper
// and typed in again.
const leastSeed, mostSeed = 1000, 9999

func (o *measureOptions) seed() (int64, error) {
	if o.order == "" {
		return leastSeed + rand.Int64N(mostSeed-leastSeed+1), nil
	}
	n, err := strconv.ParseInt(strings.TrimSpace(o.order), 10, 64)
	if err != nil || n < 0 {
		return 0, usagef("--order 4711", "--order %q is not a whole number from 0 on", o.order)
	}
	return n, nil
}

func (o *measureOptions) roundCount() (int, error) {
	n, err := strconv.Atoi(strings.TrimSpace(o.rounds))
	if err != nil || n < 1 || n > catalog.MaxRounds {
		return 0, usagef("--rounds 3", "--rounds %q is not a whole number from 1 to %d", o.rounds, catalog.MaxRounds)
	}
	return n, nil
}

func (o *measureOptions) checkSlots() error {
	if !slices.Contains([]string{slotsUsual, slotsAll}, o.slots) {
		return usagef("--slots usual", "--slots %q: use usual or all", o.slots)
	}
	return nil
}

// compass is the range to measure: --range, else the player's, else what is
// usual for the instrument.
func (o *measureOptions) compass(h catalog.Horn, p *catalog.Player) (low, high pitch.Note, err error) {
	if low, high, err = o.span(); err != nil || low != 0 {
		return low, high, err
	}
	low, high = catalog.UsualRange(h.Instrument)
	if p != nil && p.RangeLow != 0 {
		low = p.RangeLow
	}
	if p != nil && p.RangeHigh != 0 {
		high = p.RangeHigh
	}
	return low, high, nil
}

// slotList lists the slots to read within a range: the usual ones, or with them
// all that every prediction answers for.
func (o *measureOptions) slotList(low, high pitch.Note, valves int) ([]pitch.Slot, error) {
	list := pitch.UsualSlots(low, high, valves)
	if o.slots == slotsAll {
		list = slices.DeleteFunc(append(list, fit.StandardSlots()...), func(s pitch.Slot) bool { return s.Note() < low || s.Note() > high })
		slices.SortFunc(list, pitch.Slot.Compare)
		list = slices.Compact(list)
	}
	if len(list) == 0 {
		return nil, usagef("--range F#3-C6", "no note lies in the range %s-%s", low, high)
	}
	return list, nil
}

// freeName is the name that is wanted for a session, which must be free, or one
// made of the date and the horn's label.
func freeName(ctx context.Context, store catalog.Store, wanted string, at time.Time, horn string) (string, error) {
	taken := map[string]bool{}
	sessions, err := store.Sessions(ctx, catalog.SessionFilter{})
	if err != nil {
		return "", err
	}
	for _, x := range sessions {
		taken[catalog.Fold(x.Name)] = true
	}
	drafts, err := store.Drafts(ctx)
	if err != nil {
		return "", err
	}
	for _, x := range drafts {
		taken[catalog.Fold(x.Session.Name)] = true
	}
	if name := catalog.NormalLabel(wanted); name != "" {
		if taken[catalog.Fold(name)] {
			return "", catalog.Errorf(catalog.Conflict, "choose another name, or leave --name out", "there is a session %q already", name)
		}
		return name, nil
	}
	base := at.Local().Format(time.DateOnly)
	if len([]rune(horn)) < catalog.MaxLabelLength/2 {
		base += " " + horn
	}
	for n := 1; ; n++ {
		name := base
		if n > 1 {
			name = fmt.Sprintf("%s %d", base, n)
		}
		if !taken[catalog.Fold(name)] {
			return name, nil
		}
	}
}

// describe says in a line what is measured.
func (s occasion) describe() string {
	readings := 0
	for _, round := range s.draft.Rounds {
		readings += len(round)
	}
	return fmt.Sprintf("%s: %s with %s, played by %s; %s of %s, order %d", s.draft.Session.Name, s.horn.Label, s.mouthpiece.Label, s.player.Label,
		match.Count(len(s.draft.Rounds), "round"), match.Count(len(s.draft.Rounds[0]), "note"), s.draft.Seed)
}
