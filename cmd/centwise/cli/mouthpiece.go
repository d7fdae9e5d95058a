package cli

import (
	"context"

	"centwise/catalog"
)

var mouthpieceKind = &gearKind[catalog.Mouthpiece]{
	noun: "mouthpiece", plural: "mouthpieces", label: `"Plover 16.2"`,
	about: "A mouthpiece is one cup mouthpiece; several copies of one maker's model share what is known of their design.",
	addExample: `  centwise mouthpiece add "Plover 16.2" --maker Northlamp --model Plover --rim-mm 16.2 --throat-mm 3.66 --cup-cm3 1.2
  centwise mouthpiece add "Dunlin 16.6" --rim-mm 16.6 --stock cupboard`,
	editExample: `  centwise mouthpiece edit "Plover 16.2" --throat-mm 3.7
  centwise mouthpiece edit "Plover 16.2" --stock cupboard,shop --owner reed-otter`,
	pages: mouthpiecePages,
	fields: []gearField[catalog.Mouthpiece]{
		textField("maker", "who made it", func(m *catalog.Mouthpiece) *string { return &m.Maker }).listed("maker", 3),
		textField("model", "model; maker and model together are its design", func(m *catalog.Mouthpiece) *string { return &m.Model }).listed("model", 3),
		textField("serial", "serial number or mark of this copy", func(m *catalog.Mouthpiece) *string { return &m.Serial }).listed("serial", 6),
		choiceField("shank", "taper of the shank (trumpet unless given)", catalog.Shanks, func(m *catalog.Mouthpiece) *catalog.Shank { return &m.Shank }).listed("shank", 2),
		numberField("rim_mm", "mm", "inner diameter of the rim", func(m *catalog.Mouthpiece) *float64 { return &m.RimMM }).listed("rim mm", 1),
		numberField("cup_cm3", "cm3", "volume of the cup", func(m *catalog.Mouthpiece) *float64 { return &m.CupCM3 }).listed("cup cm3", 2),
		numberField("cup_depth_mm", "mm", "depth of the cup", func(m *catalog.Mouthpiece) *float64 { return &m.CupDepthMM }).listed("depth mm", 5),
		numberField("throat_mm", "mm", "diameter of the throat", func(m *catalog.Mouthpiece) *float64 { return &m.ThroatMM }).listed("throat mm", 3),
		numberField("throat_length_mm", "mm", "length of the throat's cylinder", func(m *catalog.Mouthpiece) *float64 { return &m.ThroatLengthMM }),
		numberField("backbore_mm", "mm", "diameter at the end of the backbore", func(m *catalog.Mouthpiece) *float64 { return &m.BackboreMM }).listed("backbore mm", 5),
		textField("backbore_character", "character of the backbore in words", func(m *catalog.Mouthpiece) *string { return &m.BackboreCharacter }),
		numberField("length_mm", "mm", "length over all", func(m *catalog.Mouthpiece) *float64 { return &m.LengthMM }).listed("length mm", 6),
		textField("owner", "whose it is: free text or a player's handle", func(m *catalog.Mouthpiece) *string { return &m.Owner }).listed("owner", 4),
		listField("stock", "lists that have it in stock (shops, cupboards), separated by commas", func(m *catalog.Mouthpiece) *[]string { return &m.Stock }).listed("in stock", 4),
		listField("tags", "words to find it by, separated by commas", func(m *catalog.Mouthpiece) *[]string { return &m.Tags }).listed("tags", 5),
	},
	rev:  func(m *catalog.Mouthpiece) *catalog.Revision { return &m.Revision },
	name: func(m *catalog.Mouthpiece) *string { return &m.Label },
	id:   func(m catalog.Mouthpiece) catalog.ID { return m.ID },
	specimen: func(m catalog.Mouthpiece) (string, string) {
		m.Normalize()
		return m.Design(), m.Serial
	},
	list: func(ctx context.Context, s catalog.Store, retired bool) ([]catalog.Mouthpiece, error) {
		return s.Mouthpieces(ctx, retired)
	},
	find: func(ctx context.Context, s catalog.Store, label string) (catalog.Mouthpiece, error) {
		return s.Mouthpiece(ctx, label)
	},
	changes: func(m ...catalog.Mouthpiece) catalog.Changes { return catalog.Changes{Mouthpieces: m} },
	filter:  func(id catalog.ID) catalog.SessionFilter { return catalog.SessionFilter{Mouthpiece: id} },
}
