package sheet

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Kinds of gear in the column kind.
const (
	kindHorn       = "horn"
	kindMouthpiece = "mouthpiece"
	kindPlayer     = "player"
)

// field is one column of a gear list for records of type T.
type field[T any] struct {
	column string
	set    func(rec *T, cell string, style decimals) error
	get    func(rec *T) string
}

func textField[T any](column string, at func(*T) *string) field[T] {
	return field[T]{column,
		func(rec *T, cell string, _ decimals) error { *at(rec) = catalog.ReadCell(cell); return nil },
		func(rec *T) string { return catalog.WriteCell(*at(rec)) }}
}

// numberField is a number with 0, or an empty cell, for not known.
func numberField[T any](column string, at func(*T) *float64) field[T] {
	return field[T]{column,
		func(rec *T, cell string, style decimals) (err error) {
			*at(rec) = 0
			if strings.TrimSpace(cell) != "" {
				*at(rec), err = parseNumber(cell, style)
			}
			return err
		},
		func(rec *T) string { return formatKnown(*at(rec)) }}
}

func listField[T any](column string, at func(*T) *[]string) field[T] {
	return field[T]{column,
		func(rec *T, cell string, _ decimals) error {
			*at(rec) = catalog.ReadList(catalog.ReadCell(cell))
			return nil
		},
		func(rec *T) string { return catalog.WriteCell(catalog.WriteList(*at(rec))) }}
}

func yesField[T any](column string, at func(*T) *bool) field[T] {
	return field[T]{column,
		func(rec *T, cell string, _ decimals) (err error) { *at(rec), err = parseYes(cell); return err },
		func(rec *T) string {
			if *at(rec) {
				return "yes"
			}
			return "no"
		}}
}

// wordField is one of a few words, whatever the case; empty for the usual one.
func wordField[T any, W ~string](column string, known []W, at func(*T) *W) field[T] {
	return field[T]{column,
		func(rec *T, cell string, _ decimals) error {
			cell = strings.ToLower(strings.TrimSpace(cell))
			*at(rec) = W(cell)
			if cell != "" && !slices.Contains(known, W(cell)) {
				return fmt.Errorf("is not one of %s", words(known))
			}
			return nil
		},
		func(rec *T) string { return string(*at(rec)) }}
}

func words[W ~string](list []W) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return strings.Join(out, ", ")
}

func noteField[T any](column string, at func(*T) *pitch.Note) field[T] {
	return field[T]{column,
		func(rec *T, cell string, _ decimals) (err error) {
			*at(rec) = 0
			if strings.TrimSpace(cell) != "" {
				*at(rec), err = pitch.ParseNote(cell)
			}
			if err != nil {
				return errors.New("is not a note: write it as in F#3 or Bb4")
			}
			return nil
		},
		func(rec *T) string {
			if *at(rec) == 0 {
				return ""
			}
			return at(rec).String()
		}}
}

var keyField = field[catalog.Horn]{"key",
	func(h *catalog.Horn, cell string, _ decimals) (err error) {
		h.Key = ""
		if strings.TrimSpace(cell) != "" {
			h.Key, err = pitch.ParseKey(cell)
		}
		if err != nil {
			return errors.New("is not a key a trumpet is built in: use one of " + words(pitch.Keys))
		}
		return nil
	},
	func(h *catalog.Horn) string { return string(h.Key) }}

var valvesField = field[catalog.Horn]{"valves",
	func(h *catalog.Horn, cell string, _ decimals) error {
		h.Valves = 0
		switch strings.TrimSpace(cell) {
		case "":
		case "3":
			h.Valves = 3
		case "4":
			h.Valves = 4
		default:
			return errors.New("is not a number of valves: write 3 or 4")
		}
		return nil
	},
	func(h *catalog.Horn) string { return strconv.Itoa(h.Valves) }}

var hornFields = []field[catalog.Horn]{
	textField("label", func(h *catalog.Horn) *string { return &h.Label }),
	textField("maker", func(h *catalog.Horn) *string { return &h.Maker }),
	textField("model", func(h *catalog.Horn) *string { return &h.Model }),
	textField("serial", func(h *catalog.Horn) *string { return &h.Serial }),
	wordField("instrument", catalog.Instruments, func(h *catalog.Horn) *catalog.Instrument { return &h.Instrument }),
	keyField,
	valvesField,
	wordField("receiver", catalog.Shanks, func(h *catalog.Horn) *catalog.Shank { return &h.Receiver }),
	numberField("bore_mm", func(h *catalog.Horn) *float64 { return &h.BoreMM }),
	numberField("throw1_mm", func(h *catalog.Horn) *float64 { return &h.Throw1MM }),
	numberField("throw3_mm", func(h *catalog.Horn) *float64 { return &h.Throw3MM }),
	yesField("loaner", func(h *catalog.Horn) *bool { return &h.Loaner }),
	textField("owner", func(h *catalog.Horn) *string { return &h.Owner }),
	listField("tags", func(h *catalog.Horn) *[]string { return &h.Tags }),
	yesField("retired", func(h *catalog.Horn) *bool { return &h.Retired }),
}

var mouthpieceFields = []field[catalog.Mouthpiece]{
	textField("label", func(m *catalog.Mouthpiece) *string { return &m.Label }),
	textField("maker", func(m *catalog.Mouthpiece) *string { return &m.Maker }),
	textField("model", func(m *catalog.Mouthpiece) *string { return &m.Model }),
	textField("serial", func(m *catalog.Mouthpiece) *string { return &m.Serial }),
	wordField("shank", catalog.Shanks, func(m *catalog.Mouthpiece) *catalog.Shank { return &m.Shank }),
	numberField("rim_mm", func(m *catalog.Mouthpiece) *float64 { return &m.RimMM }),
	numberField("cup_cm3", func(m *catalog.Mouthpiece) *float64 { return &m.CupCM3 }),
	numberField("cup_depth_mm", func(m *catalog.Mouthpiece) *float64 { return &m.CupDepthMM }),
	numberField("throat_mm", func(m *catalog.Mouthpiece) *float64 { return &m.ThroatMM }),
	numberField("throat_length_mm", func(m *catalog.Mouthpiece) *float64 { return &m.ThroatLengthMM }),
	numberField("backbore_mm", func(m *catalog.Mouthpiece) *float64 { return &m.BackboreMM }),
	textField("backbore_character", func(m *catalog.Mouthpiece) *string { return &m.BackboreCharacter }),
	numberField("length_mm", func(m *catalog.Mouthpiece) *float64 { return &m.LengthMM }),
	textField("owner", func(m *catalog.Mouthpiece) *string { return &m.Owner }),
	listField("stock", func(m *catalog.Mouthpiece) *[]string { return &m.Stock }),
	listField("tags", func(m *catalog.Mouthpiece) *[]string { return &m.Tags }),
	yesField("retired", func(m *catalog.Mouthpiece) *bool { return &m.Retired }),
}

// weightsField holds the weights of notes in one cell, as in C4=12.5 D4=3.
var weightsField = field[catalog.Player]{"weights",
	func(p *catalog.Player, cell string, _ decimals) (err error) {
		p.Weights, err = catalog.ParseWeights(catalog.ReadCell(cell))
		return err
	},
	func(p *catalog.Player) string { return p.Weights.String() }}

var playerFields = []field[catalog.Player]{
	textField("label", func(p *catalog.Player) *string { return &p.Label }),
	textField("level", func(p *catalog.Player) *string { return &p.Level }),
	numberField("rim_min_mm", func(p *catalog.Player) *float64 { return &p.RimMinMM }),
	numberField("rim_max_mm", func(p *catalog.Player) *float64 { return &p.RimMaxMM }),
	numberField("cup_min_cm3", func(p *catalog.Player) *float64 { return &p.CupMinCM3 }),
	numberField("cup_max_cm3", func(p *catalog.Player) *float64 { return &p.CupMaxCM3 }),
	numberField("tolerance_cents", func(p *catalog.Player) *float64 { return &p.ToleranceCents }),
	noteField("range_low", func(p *catalog.Player) *pitch.Note { return &p.RangeLow }),
	noteField("range_high", func(p *catalog.Player) *pitch.Note { return &p.RangeHigh }),
	weightsField,
	listField("tags", func(p *catalog.Player) *[]string { return &p.Tags }),
	yesField("retired", func(p *catalog.Player) *bool { return &p.Retired }),
}

// GearColumns lists the columns of a gear list. Not every kind has each: the
// column must be empty in the rows of the others. Bore geometry, which is a file
// of its own, is not among them.
func GearColumns() []string { return slices.Clone(gearColumns) }

var gearColumns = []string{
	"kind", "label", "maker", "model", "serial", "instrument", "key", "valves", "receiver", "bore_mm", "throw1_mm", "throw3_mm", "loaner",
	"shank", "rim_mm", "cup_cm3", "cup_depth_mm", "throat_mm", "throat_length_mm", "backbore_mm", "backbore_character", "length_mm", "stock",
	"owner", "level", "rim_min_mm", "rim_max_mm", "cup_min_cm3", "cup_max_cm3", "tolerance_cents", "range_low", "range_high", "weights", "tags", "retired",
}
