package catalog

import "strings"

// Design is the key of the design that the horn is a specimen of: maker, model,
// instrument and key, whatever the case and spaces they are typed in. It is
// empty when the model is not known. One model built in two keys is two
// designs, because every tube differs.
func (h Horn) Design() string {
	return designKey(h.Model, h.Maker, string(h.Instrument), string(h.Key))
}

// Design is the key of the design that the mouthpiece is a specimen of: maker,
// model and shank, whatever the case and spaces they are typed in. It is empty
// when the model is not known.
func (m Mouthpiece) Design() string {
	return designKey(m.Model, m.Maker, string(m.Shank))
}

func designKey(model string, rest ...string) string {
	model = Fold(model)
	if model == "" {
		return ""
	}
	for i := range rest {
		rest[i] = Fold(rest[i])
	}
	// Labels hold no control characters, so a tab keeps the parts apart.
	return strings.Join(rest, "\t") + "\t" + model
}

// Specimen names one specimen of a design, whatever the case and spaces of its
// serial number; empty when the design or the serial number is not known.
func Specimen(design, serial string) string {
	serial = strings.ReplaceAll(Fold(serial), " ", "")
	if design == "" || serial == "" {
		return ""
	}
	return design + "\x00" + serial
}
