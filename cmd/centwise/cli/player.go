package cli

import (
	"context"
	"fmt"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var playerKind = &gearKind[catalog.Player]{
	noun: "player", plural: "players", label: "reed-otter",
	about: "A player is somebody who plays, under a handle that need not be a name.",
	addExample: `  centwise player add reed-otter --level student --rim-min-mm 16 --rim-max-mm 16.8
  centwise player add blue-kite --tolerance-cents 8 --range G3-A5`,
	editExample: `  centwise player edit reed-otter --range F#3-B5
  centwise player edit reed-otter --rim-max-mm 0
  centwise player edit reed-otter --weights march.csv`,
	pages: playerPages,
	fields: []gearField[catalog.Player]{
		textField("level", "level in words", func(p *catalog.Player) *string { return &p.Level }).listed("level", 2),
		numberField("rim_min_mm", "mm", "smallest comfortable rim; 0 for no limit", func(p *catalog.Player) *float64 { return &p.RimMinMM }).listed("rim from mm", 3),
		numberField("rim_max_mm", "mm", "largest comfortable rim; 0 for no limit", func(p *catalog.Player) *float64 { return &p.RimMaxMM }).listed("rim to mm", 3),
		numberField("cup_min_cm3", "cm3", "smallest comfortable cup; 0 for no limit", func(p *catalog.Player) *float64 { return &p.CupMinCM3 }).listed("cup from cm3", 4),
		numberField("cup_max_cm3", "cm3", "largest comfortable cup; 0 for no limit", func(p *catalog.Player) *float64 { return &p.CupMaxCM3 }).listed("cup to cm3", 4),
		numberField("tolerance_cents", "cents", "deviation that still counts as in tune; 0 for the usual", func(p *catalog.Player) *float64 { return &p.ToleranceCents }).listed("tolerance", 3),
		playerRangeField,
		playerWeightsField,
		listField("tags", "words to find them by, separated by commas", func(p *catalog.Player) *[]string { return &p.Tags }).listed("tags", 5),
	},
	rev:      func(p *catalog.Player) *catalog.Revision { return &p.Revision },
	name:     func(p *catalog.Player) *string { return &p.Label },
	id:       func(p catalog.Player) catalog.ID { return p.ID },
	specimen: func(catalog.Player) (string, string) { return "", "" },
	list: func(ctx context.Context, s catalog.Store, retired bool) ([]catalog.Player, error) {
		return s.Players(ctx, retired)
	},
	find: func(ctx context.Context, s catalog.Store, label string) (catalog.Player, error) {
		return s.Player(ctx, label)
	},
	changes: func(p ...catalog.Player) catalog.Changes { return catalog.Changes{Players: p} },
	filter:  func(id catalog.ID) catalog.SessionFilter { return catalog.SessionFilter{Player: id} },
}

var playerRangeField = gearField[catalog.Player]{
	name: "range", kind: "low-high", usage: "written range, as in G3-A5; empty for the usual",
	set: func(p *catalog.Player, s string) (err error) {
		if strings.TrimSpace(s) == "" {
			p.RangeLow, p.RangeHigh = 0, 0
			return nil
		}
		p.RangeLow, p.RangeHigh, err = parseRange(s)
		return err
	},
	value: func(p *catalog.Player) any {
		if p.RangeLow == 0 && p.RangeHigh == 0 {
			return ""
		}
		return noteText(p.RangeLow) + "-" + noteText(p.RangeHigh)
	},
	title: "range", drop: 2,
	columns: []gearColumn[catalog.Player]{
		{"range_low", func(p *catalog.Player) string { return noteText(p.RangeLow) }},
		{"range_high", func(p *catalog.Player) string { return noteText(p.RangeHigh) }},
	},
}

// noteText is a note as a cell of a gear list; 0 is not known.
func noteText(n pitch.Note) string {
	if n == 0 {
		return ""
	}
	return n.String()
}

// parseRange reads two written notes, as in F#3-C6 or F#3..C6.
func parseRange(text string) (low, high pitch.Note, err error) {
	s := strings.NewReplacer("..", "-", "–", "-", " to ", "-").Replace(text)
	from, to, ok := strings.Cut(s, "-")
	if !ok {
		return 0, 0, fmt.Errorf("write the lowest and the highest note, as in F#3-C6")
	}
	if low, err = pitch.ParseNote(from); err != nil {
		return 0, 0, err
	}
	if high, err = pitch.ParseNote(to); err != nil {
		return 0, 0, err
	}
	if low > high {
		return 0, 0, fmt.Errorf("%s lies above %s: write the lower note first, as in F#3-C6", low, high)
	}
	return low, high, nil
}
