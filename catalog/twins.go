package catalog

import (
	"fmt"
	"slices"
	"strings"
)

// Twins finds horns and mouthpieces that were entered twice: same maker, model
// and serial number, whatever the case and spaces. Retired records and records
// without a model or a serial number are passed over. The finding names the
// later record as the one to retire.
func Twins(horns []Horn, mouthpieces []Mouthpiece) []Finding {
	var items []specimen
	for _, h := range horns {
		items = append(items, specimen{"horn", h.ID, h.Label, h.Design(), h.Serial, h.Retired})
	}
	for _, m := range mouthpieces {
		items = append(items, specimen{"mouthpiece", m.ID, m.Label, m.Design(), m.Serial, m.Retired})
	}
	// Ids are ULIDs: their order is the order in which records were made.
	slices.SortStableFunc(items, func(a, b specimen) int { return strings.Compare(string(a.id), string(b.id)) })
	first := map[[2]string]specimen{}
	var out []Finding
	for _, it := range items {
		specimen := Specimen(it.design, it.serial)
		if it.retired || specimen == "" {
			continue
		}
		key := [2]string{it.noun, specimen}
		if earlier, ok := first[key]; ok {
			out = append(out, it.twinOf(earlier))
			continue
		}
		first[key] = it
	}
	return out
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

type specimen struct {
	noun    string
	id      ID
	label   string
	design  string
	serial  string
	retired bool
}

func (it specimen) twinOf(earlier specimen) Finding {
	return Finding{
		Kind:    "twin",
		Subject: it.label,
		Detail: fmt.Sprintf("%s %q and %q have the same maker, model and serial number %q: measured as two, they share nothing",
			it.noun, earlier.label, it.label, it.serial),
		Certainty: 0.95,
		Repair:    fmt.Sprintf("centwise %s retire %s", it.noun, ShellWord(it.label)),
	}
}

// ShellWord quotes a label for a command line that the user will type or paste
// into a POSIX shell.
func ShellWord(label string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-/:,+", r)
	}
	if label != "" && label[0] != '-' && strings.IndexFunc(label, func(r rune) bool { return !plain(r) }) < 0 {
		return label
	}
	quoted := "'" + strings.ReplaceAll(label, "'", `'\''`) + "'"
	if strings.HasPrefix(label, "-") {
		return "-- " + quoted
	}
	return quoted
}
