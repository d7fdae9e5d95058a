package cli

import (
	"context"
	"fmt"
	"strconv"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var hornKind = &gearKind[catalog.Horn]{
	noun: "horn", plural: "horns", label: "Alder",
	about: "A horn is one instrument of the trumpet family: trumpet, cornet, flugelhorn or piccolo trumpet.",
	addExample: `  centwise horn add Alder --key Bb --maker Tidewright --model Harbour --serial 1207 --bore-mm 11.66 --throw1-mm 15 --throw3-mm 25
  centwise horn add Rowan --key C --loaner --tags cupboard`,
	editExample: `  centwise horn edit Alder --throw3-mm 28
  centwise horn edit Alder --label "Alder (old)" --owner ""
  centwise horn edit Alder --bore-geometry alder.csv`,
	required: []string{"key"},
	pages:    hornPages,
	fields: []gearField[catalog.Horn]{
		textField("maker", "who made it", func(h *catalog.Horn) *string { return &h.Maker }).listed("maker", 3),
		textField("model", "model; maker and model together are its design", func(h *catalog.Horn) *string { return &h.Model }).listed("model", 3),
		textField("serial", "serial number", func(h *catalog.Horn) *string { return &h.Serial }).listed("serial", 5),
		keyField,
		choiceField("instrument", "kind of horn (trumpet unless given)", catalog.Instruments, func(h *catalog.Horn) *catalog.Instrument { return &h.Instrument }).listed("instrument", 2),
		valvesField,
		choiceField("receiver", "shank that it takes (the instrument's own unless given)", catalog.Shanks, func(h *catalog.Horn) *catalog.Shank { return &h.Receiver }).listed("receiver", 4),
		numberField("bore_mm", "mm", "bore of the cylindrical tube", func(h *catalog.Horn) *float64 { return &h.BoreMM }).listed("bore mm", 3),
		hornBoreField,
		numberField("throw1_mm", "mm", "how far the first valve slide moves while playing; 0 for none", func(h *catalog.Horn) *float64 { return &h.Throw1MM }).listed("throw 1 mm", 2),
		numberField("throw3_mm", "mm", "how far the third valve slide moves while playing; 0 for none", func(h *catalog.Horn) *float64 { return &h.Throw3MM }).listed("throw 3 mm", 2),
		boolField("loaner", "it is lent out", func(h *catalog.Horn) *bool { return &h.Loaner }).listed("loaner", 3),
		textField("owner", "whose it is: free text or a player's handle", func(h *catalog.Horn) *string { return &h.Owner }).listed("owner", 4),
		listField("tags", "words to find it by, separated by commas", func(h *catalog.Horn) *[]string { return &h.Tags }).listed("tags", 5),
	},
	rev:  func(h *catalog.Horn) *catalog.Revision { return &h.Revision },
	name: func(h *catalog.Horn) *string { return &h.Label },
	id:   func(h catalog.Horn) catalog.ID { return h.ID },
	specimen: func(h catalog.Horn) (string, string) {
		h.Normalize()
		return h.Design(), h.Serial
	},
	list: func(ctx context.Context, s catalog.Store, retired bool) ([]catalog.Horn, error) {
		return s.Horns(ctx, retired)
	},
	find: func(ctx context.Context, s catalog.Store, label string) (catalog.Horn, error) {
		return s.Horn(ctx, label)
	},
	changes: func(h ...catalog.Horn) catalog.Changes { return catalog.Changes{Horns: h} },
	filter:  func(id catalog.ID) catalog.SessionFilter { return catalog.SessionFilter{Horn: id} },
}

var keyField = gearField[catalog.Horn]{
	name: "key", kind: "key", usage: "key it stands in: Bb, C, D, Eb, F, G, A",
	choices: keyNames(),
	set: func(h *catalog.Horn, s string) (err error) {
		h.Key, err = pitch.ParseKey(s)
		return err
	},
	value: func(h *catalog.Horn) any { return string(h.Key) },
	title: "key", drop: 1,
}

func keyNames() []string {
	var out []string
	for _, k := range pitch.Keys {
		out = append(out, string(k))
	}
	return out
}

var valvesField = gearField[catalog.Horn]{
	name: "valves", kind: "number", usage: "number of valves, 3 or 4 (3 unless given; piccolo 4)",
	choices: []string{"3", "4"},
	set: func(h *catalog.Horn, s string) error {
		n, err := strconv.Atoi(s)
		if err != nil || n < 3 || n > 4 {
			return fmt.Errorf("write 3 or 4")
		}
		h.Valves = n
		return nil
	},
	value: func(h *catalog.Horn) any { return h.Valves },
	title: "valves", drop: 5,
}
