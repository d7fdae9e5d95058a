package show

import (
	"fmt"
	"strconv"

	"centwise/catalog"
)

// gearFacts collects what is known of gear; sizes of nought are not known.
type gearFacts []Fact

func (g *gearFacts) text(name, text string) {
	if text != "" {
		*g = append(*g, Fact{Name: name, Text: text})
	}
}

func (g *gearFacts) size(name string, size float64, unit string) {
	if size != 0 {
		g.text(name, strconv.FormatFloat(size, 'f', -1, 64)+" "+unit)
	}
}

// HornFacts are what is known of a horn.
func HornFacts(h catalog.Horn) []Fact {
	var g gearFacts
	g.text("Instrument", fmt.Sprintf("%s in %s", h.Instrument, h.Key))
	g.text("Maker", h.Maker)
	g.text("Model", h.Model)
	g.text("Serial", h.Serial)
	g.size("Bore", h.BoreMM, "mm")
	g.size("Throw, first slide", h.Throw1MM, "mm")
	g.size("Throw, third slide", h.Throw3MM, "mm")
	g.text("Owner", h.Owner)
	return g
}

// MouthpieceFacts are what is known of a mouthpiece.
func MouthpieceFacts(m catalog.Mouthpiece) []Fact {
	var g gearFacts
	g.text("Maker", m.Maker)
	g.text("Model", m.Model)
	g.text("Serial", m.Serial)
	g.text("Shank", string(m.Shank))
	g.size("Rim, inside", m.RimMM, "mm")
	g.size("Cup volume", m.CupCM3, "cm³")
	g.size("Cup depth", m.CupDepthMM, "mm")
	g.size("Throat", m.ThroatMM, "mm")
	g.size("Throat length", m.ThroatLengthMM, "mm")
	g.size("Backbore exit", m.BackboreMM, "mm")
	g.text("Backbore", m.BackboreCharacter)
	g.size("Length", m.LengthMM, "mm")
	g.text("Owner", m.Owner)
	return g
}
