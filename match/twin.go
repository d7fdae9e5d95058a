package match

import (
	"fmt"
	"strings"

	"centwise/catalog"
)

// twinCertainty is below 1 because serial numbers are mistyped too.
const twinCertainty = 0.95

// copyOf is one entry of a piece of gear.
type copyOf struct {
	label                string
	maker, model, serial string
	retired              bool
}

func twinHorns(list []catalog.Horn) []catalog.Finding {
	var copies []copyOf
	for _, h := range list {
		copies = append(copies, copyOf{h.Label, h.Maker, h.Model, h.Serial, h.Retired})
	}
	return twins("horn", copies)
}

func twinMouthpieces(list []catalog.Mouthpiece) []catalog.Finding {
	var copies []copyOf
	for _, m := range list {
		copies = append(copies, copyOf{m.Label, m.Maker, m.Model, m.Serial, m.Retired})
	}
	return twins("mouthpiece", copies)
}

// twins finds gear in use with the same maker, model and serial number as
// another, read without regard to case and spacing. Gear without a serial
// number has no twins: two of a kind are two specimens.
func twins(kind string, list []copyOf) []catalog.Finding {
	first := map[[3]string]string{}
	var out []catalog.Finding
	for _, c := range list {
		key := [3]string{squeeze(c.maker), squeeze(c.model), squeeze(c.serial)}
		if c.retired || key[2] == "" {
			continue
		}
		other, seen := first[key]
		if !seen {
			first[key] = c.label
			continue
		}
		out = append(out, catalog.Finding{
			Kind: FindTwin, Subject: c.label,
			Detail: fmt.Sprintf("%s %s has the maker, model and serial number of %s: the same %s entered twice, its sessions split between two labels",
				kind, c.label, other, kind),
			Certainty: twinCertainty,
			Repair:    fmt.Sprintf("centwise %s retire %s", kind, quote(c.label)),
		})
	}
	return out
}

func squeeze(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
