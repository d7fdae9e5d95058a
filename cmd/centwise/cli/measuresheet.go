package cli

import (
	"context"
	"fmt"
	"io"
	"strconv"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match/protocol"
)

// measureSheetRun prints the form to fill in by hand. What the flags don't say is
// left to fill in, but a horn that is named must be in the catalog.
func measureSheetRun(ctx context.Context, o *measureOptions) error {
	f, err := o.paperForm(ctx)
	if err != nil {
		return err
	}
	if o.html == "" {
		return f.Write(o.factory.Streams.Out)
	}
	if err := writeFile(o.html, o.force, func(w io.Writer) error { return f.WriteHTML(w) }); err != nil {
		return err
	}
	o.factory.Streams.Note("wrote %s", o.html)
	return nil
}

func (o *measureOptions) paperForm(ctx context.Context) (show.PaperForm, error) {
	session, err := o.facts()
	if err != nil {
		return show.PaperForm{}, err
	}
	horn, player, err := o.namedGear(ctx)
	if err != nil {
		return show.PaperForm{}, err
	}
	low, high, err := o.compass(horn, player)
	if err != nil {
		return show.PaperForm{}, err
	}
	slots, err := o.slotList(low, high, horn.Valves)
	if err != nil {
		return show.PaperForm{}, err
	}
	rounds, err := o.roundCount()
	if err != nil {
		return show.PaperForm{}, err
	}
	seed, err := o.seed()
	if err != nil {
		return show.PaperForm{}, err
	}
	f := show.PaperForm{Heads: o.heads(), Rules: protocol.Rules(session.Pitch()), Seed: seed}
	for _, round := range protocol.Rounds(slots, rounds, seed) {
		f.Rounds = append(f.Rounds, show.FormNotes(round, horn.Transposition(), o.horn != ""))
	}
	f.Enter = fmt.Sprintf("centwise measure --order %d --rounds %d --range %s-%s", seed, rounds, low, high)
	if o.slots == slotsAll {
		f.Enter += " --slots all"
	}
	f.Enter += gearFlag("horn", o.horn) + gearFlag("mouthpiece", o.mouthpiece) + gearFlag("player", o.player) + o.factory.Here()
	return f, nil
}

func gearFlag(flag, label string) string {
	if label == "" {
		return ""
	}
	return " --" + flag + " " + catalog.ShellWord(label)
}

// namedGear finds the gear that the flags name; without a horn, the usual one.
func (o *measureOptions) namedGear(ctx context.Context) (catalog.Horn, *catalog.Player, error) {
	var horn catalog.Horn
	horn.Normalize()
	if o.horn == "" && o.mouthpiece == "" && o.player == "" {
		return horn, nil, nil
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return horn, nil, err
	}
	defer store.Close()
	if o.horn != "" {
		if horn, err = store.Horn(ctx, o.horn); err != nil {
			return horn, nil, err
		}
	}
	if o.mouthpiece != "" {
		m, err := store.Mouthpiece(ctx, o.mouthpiece)
		if err != nil {
			return horn, nil, err
		}
		if o.horn != "" {
			if err := (catalog.Session{Adapter: o.adapter}).Fits(horn, m); err != nil {
				return horn, nil, err
			}
		}
	}
	player, err := findPlayer(ctx, store, o.player)
	return horn, player, err
}

// heads are the lines of the head, filled in as far as the flags go.
func (o *measureOptions) heads() []show.HeadLine {
	a4 := o.a4
	if a4 == "" {
		a4 = strconv.FormatFloat(catalog.DefaultA4Hz, 'f', -1, 64)
	}
	return []show.HeadLine{
		{Name: "Horn", Value: o.horn}, {Name: "Mouthpiece", Value: o.mouthpiece}, {Name: "Player", Value: o.player}, {Name: "Read by", Value: o.contributor},
		{Name: "Date", Value: o.date}, {Name: "A4", Value: a4, Unit: "Hz"}, {Name: "Temperature", Value: o.temperature, Unit: "C"},
		{Name: "Tuning slide", Value: o.slide, Unit: "mm out"}, {Name: "Gap", Value: o.gap, Unit: "mm"}, {Name: "Loudness", Value: o.dynamic},
	}
}
