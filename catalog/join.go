package catalog

import (
	"crypto/sha256"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// Joining is what makes pooling independent of order and repetition: Join(a, b)
// = Join(b, a), Join(a, Join(b, c)) = Join(Join(a, b), c) and Join(a, a) = a for
// records of one kind and id (and, for gear, of one revision number).
//
// Revisions with one number were made apart: the later one wins, as a whole. In
// what is left equal, a field that is stated beats one that was withheld. A
// session that was retracted anywhere is retracted, by the earliest retraction.
// Where none of that decides, as for forgeries, the content does.

// JoinHorns joins two accounts of one revision of a horn.
func JoinHorns(a, b Shared[Horn]) Shared[Horn] { return exchangedHorns.join(a, b) }

// JoinMouthpieces joins two accounts of one revision of a mouthpiece.
func JoinMouthpieces(a, b Shared[Mouthpiece]) Shared[Mouthpiece] {
	return exchangedMouthpieces.join(a, b)
}

// JoinPlayers joins two accounts of one revision of a player.
func JoinPlayers(a, b Shared[Player]) Shared[Player] { return exchangedPlayers.join(a, b) }

// JoinLinks joins two accounts of the link of one alias: its last revision counts.
func JoinLinks(a, b Shared[Link]) Shared[Link] { return exchangedLinks.join(a, b) }

// JoinSessions joins two accounts of one session.
func JoinSessions(a, b Shared[Session]) Shared[Session] {
	return whole(exchangedSessions.join(flat(a), flat(b)))
}

// SameMeasurement reports whether two accounts of a session agree in what nobody
// withholds: setup, circumstances and readings.
func SameMeasurement(a, b Session) bool {
	x, y := flat(Shared[Session]{Record: a}).Record, flat(Shared[Session]{Record: b}).Record
	return exchangedSessions.core(&x) == exchangedSessions.core(&y)
}

// join takes each group of fields from the account with the higher rank; within
// equal ranks soft fields are joined one by one.
func (x *exchange[T]) join(a, b Shared[T]) Shared[T] {
	rankA, rankB := x.rank(&a.Record)+x.core(&a.Record), x.rank(&b.Record)+x.core(&b.Record)
	out, other := a, b
	order := strings.Compare(rankA, rankB)
	if order < 0 {
		out, other = b, a
	}
	withheld := map[string]bool{}
	x.settle(&out, &other, x.fields, order == 0, withheld)
	x.settleExtra(&out, &other, order == 0, withheld)
	if x.laterRank != nil {
		from, beside := a, b
		order := strings.Compare(x.laterRank(&a.Record), x.laterRank(&b.Record))
		if order < 0 {
			from, beside = b, a
		}
		for _, f := range x.later {
			copyField(f.of(&out.Record), f.of(&from.Record))
		}
		kept := out
		kept.Withheld = from.Withheld
		x.settle(&kept, &beside, x.later, order == 0, withheld)
		out.Record = kept.Record
	}
	out.Withheld = nil
	for name := range withheld {
		out.Withheld = append(out.Withheld, name)
	}
	slices.Sort(out.Withheld)
	return out
}

// settle decides the soft fields of a group: into's own, or joined with
// other's. It gathers which are still withheld.
func (x *exchange[T]) settle(into, other *Shared[T], group []sharedField[T], joined bool, withheld map[string]bool) {
	for _, f := range group {
		if !f.soft {
			continue
		}
		kept := slices.Contains(into.Withheld, f.name)
		if joined {
			hidden := slices.Contains(other.Withheld, f.name)
			if kept && !hidden || kept == hidden && wordOf(f.of(&into.Record)) < wordOf(f.of(&other.Record)) {
				copyField(f.of(&into.Record), f.of(&other.Record))
				kept = hidden
			}
		}
		if kept {
			withheld[f.name] = true
		}
	}
}

// core is the digest of the fields that nobody withholds.
func (x *exchange[T]) core(record *T) string {
	h := sha256.New()
	for _, f := range x.fields {
		if !f.soft {
			h.Write([]byte(f.name + "=" + wordOf(f.of(record)) + "\n"))
		}
	}
	return string(h.Sum(nil))
}

// wordOf is a field as text, for comparing; zero is empty.
func wordOf(at any) string {
	if reflect.ValueOf(at).Elem().IsZero() {
		return ""
	}
	text, err := plainJSON(at)
	if err != nil {
		return err.Error() // what can't be written is refused when it is read
	}
	return text
}

func copyField(to, from any) { reflect.ValueOf(to).Elem().Set(reflect.ValueOf(from).Elem()) }

// settleExtra is settle for the fields that are not known.
func (x *exchange[T]) settleExtra(into, other *Shared[T], joined bool, withheld map[string]bool) {
	names := slices.Concat(slices.Collect(maps.Keys(into.Extra)), into.Withheld)
	if joined {
		names = slices.Concat(names, slices.Collect(maps.Keys(other.Extra)), other.Withheld)
	}
	kept := Extra{}
	for _, name := range names {
		if x.knows(name) {
			continue
		}
		text, hidden := into.Extra[name], slices.Contains(into.Withheld, name)
		if joined {
			text2, hidden2 := other.Extra[name], slices.Contains(other.Withheld, name)
			if hidden && !hidden2 || hidden == hidden2 && text < text2 {
				text, hidden = text2, hidden2
			}
		}
		if hidden {
			withheld[name] = true
		}
		if text != "" {
			kept[name] = text
		}
	}
	if into.Extra = kept; len(kept) == 0 {
		into.Extra = nil
	}
}

func (x *exchange[T]) knows(name string) bool {
	is := func(f sharedField[T]) bool { return f.name == name }
	return slices.ContainsFunc(x.fields, is) || slices.ContainsFunc(x.later, is)
}

// unstated lists which of the withheld fields of a revision are still unstated
// in the next one: those that were left as they were.
func (x *exchange[T]) unstated(before Shared[T], after T) []string {
	var out []string
	for _, f := range x.fields {
		if f.soft && slices.Contains(before.Withheld, f.name) && wordOf(f.of(&before.Record)) == wordOf(f.of(&after)) {
			out = append(out, f.name)
		}
	}
	slices.Sort(out)
	return out
}

// NextHorn is a revision of a horn after another, with what only the exchange
// knows of it: fields that were withheld and left alone are still withheld, and
// what newer versions said is kept.
func NextHorn(before Shared[Horn], after Horn) Shared[Horn] {
	return Shared[Horn]{after, exchangedHorns.unstated(before, after), before.Extra}
}

// NextMouthpiece is [NextHorn] for mouthpieces.
func NextMouthpiece(before Shared[Mouthpiece], after Mouthpiece) Shared[Mouthpiece] {
	return Shared[Mouthpiece]{after, exchangedMouthpieces.unstated(before, after), before.Extra}
}

// NextPlayer is [NextHorn] for players.
func NextPlayer(before Shared[Player], after Player) Shared[Player] {
	return Shared[Player]{after, exchangedPlayers.unstated(before, after), before.Extra}
}

// NextLink is [NextHorn] for links.
func NextLink(before Shared[Link], after Link) Shared[Link] {
	return Shared[Link]{after, exchangedLinks.unstated(before, after), before.Extra}
}
