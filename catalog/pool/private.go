package pool

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"strings"
	"unicode"

	"centwise/catalog"
)

// Privacy says what leaves a catalog beside the measurements. Its zero value
// keeps everything at home that can stay there.
type Privacy struct {
	Handles bool // of players, with what is known of them; else pseudonyms
	Remarks bool // remarks on sessions, reasons of retractions, names of files
	Owners  bool // owner notes of horns and mouthpieces
	// Signed, if set, is the one contributor whose name leaves, be it a player's
	// handle too; the names of others stay at home.
	Signed string
}

// playerDetails are what a pseudonym stands for.
var playerDetails = []string{"level", "rim_min_mm", "rim_max_mm", "cup_min_cm3", "cup_max_cm3", "tolerance_cents",
	"range_low", "range_high", "weights", "tags"}

func (p Privacy) redaction(secret catalog.PoolSecret) catalog.Redaction {
	r := catalog.Redaction{Drop: map[string][]string{}}
	if !p.Owners {
		r.Drop[catalog.PooledHorn] = []string{"owner"}
		r.Drop[catalog.PooledMouthpiece] = []string{"owner"}
	}
	if !p.Remarks {
		r.Drop[catalog.PooledSession] = []string{"remark", "source", "retraction_reason"}
	}
	if p.Signed != "" {
		r.Sign = func(name string) string {
			if name == p.Signed {
				return name
			}
			return ""
		}
	}
	if !p.Handles {
		r.Drop[catalog.PooledPlayer] = playerDetails
		r.Replace = newPseudonyms(secret).in
	}
	return r
}

// Texts gives texts as they may be shown to those whom the privacy is for: with
// pseudonyms for handles, unless these may leave. It is for one goroutine.
func (p Privacy) Texts(secret catalog.PoolSecret) func(string) string {
	if p.Handles {
		return func(text string) string { return text }
	}
	return newPseudonyms(secret).in
}

// pseudonyms replace the handles of players wherever they stand as words of
// their own: a player often measures too, and labels and names are made of
// handles now and then.
type pseudonyms struct {
	salt    []byte
	handles map[string]bool // in lower case
	longest int             // runes
	known   map[string]string
}

func newPseudonyms(secret catalog.PoolSecret) *pseudonyms {
	p := &pseudonyms{salt: secret.Salt, handles: map[string]bool{}, known: map[string]string{}}
	for _, h := range secret.Handles {
		runes := lower(h)
		p.handles[string(runes)] = true
		p.longest = max(p.longest, len(runes))
	}
	return p
}

// of is the pseudonym of a handle: the same whenever one catalog exports, and
// telling nothing to those who don't know its salt.
func (p *pseudonyms) of(handle string) string {
	mac := hmac.New(sha256.New, p.salt)
	mac.Write([]byte(handle))
	return "player-" + strings.ToLower(base32.StdEncoding.EncodeToString(mac.Sum(nil)[:10]))
}

// maxKnown bounds what is remembered: contributors and labels come again and
// again, names of sessions do not.
const maxKnown = 1 << 14

// in is the text with pseudonyms for handles.
func (p *pseudonyms) in(text string) string {
	if out, ok := p.known[text]; ok {
		return out
	}
	out := p.replace(text)
	if len(p.known) < maxKnown {
		p.known[text] = out
	}
	return out
}

// replace looks for the longest handle at the start of every word.
func (p *pseudonyms) replace(text string) string {
	runes, folded := []rune(text), lower(text)
	var out strings.Builder
	for i := 0; i < len(runes); {
		n := 0
		if edge(runes, i) {
			n = p.handleAt(folded, i)
		}
		if n == 0 {
			out.WriteRune(runes[i])
			i++
			continue
		}
		out.WriteString(p.of(string(folded[i : i+n])))
		i += n
	}
	return out.String()
}

// handleAt is the length of the longest handle that begins at i and ends with a
// word; 0 for none.
func (p *pseudonyms) handleAt(folded []rune, i int) int {
	for n := min(p.longest, len(folded)-i); n > 0; n-- {
		if edge(folded, i+n) && p.handles[string(folded[i:i+n])] {
			return n
		}
	}
	return 0
}

// edge reports whether a word may begin or end before rune i.
func edge(text []rune, i int) bool {
	word := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsNumber(r) || unicode.IsMark(r) }
	return i == 0 || i == len(text) || !word(text[i-1]) || !word(text[i])
}

// lower keeps the number of runes, unlike folding.
func lower(text string) []rune {
	runes := []rune(text)
	for i, r := range runes {
		runes[i] = unicode.ToLower(r)
	}
	return runes
}
