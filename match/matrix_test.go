package match

import (
	"reflect"
	"testing"
)

// Horns come by their best pairings; mouthpieces by wins among the horns shown.
func TestMatrix(t *testing.T) {
	pairing := func(rank int, horn, mouthpiece string, cents float64) Pairing {
		return Pairing{Rank: rank, Horn: horn, Mouthpiece: mouthpiece, Verdict: Verdict{ErrorCents: cents, Low: cents - 1, High: cents + 1}, PairSessions: rank - 1}
	}
	r := &Ranking{SortedBy: SortError, Pairings: []Pairing{
		pairing(1, "Rowan", "Knot", 3), pairing(2, "Alder", "Dunlin", 3.5), pairing(3, "Alder", "Knot", 4),
		pairing(4, "Hazel", "Dunlin", 4.5), pairing(5, "Rowan", "Dunlin", 5), pairing(6, "Yew", "Snipe", 6), pairing(6, "Yew", "Plover", 6),
	}}
	m := r.Matrix(0)
	if want := []string{"Rowan", "Alder", "Hazel", "Yew"}; !reflect.DeepEqual(m.Horns, want) {
		t.Errorf("horns %v", m.Horns)
	}
	if want := []string{"Dunlin", "Knot", "Snipe", "Plover"}; !reflect.DeepEqual(m.Mouthpieces, want) {
		t.Errorf("mouthpieces %v", m.Mouthpieces)
	}
	if got, want := m.Rows[1][0], (MatrixCell{true, 3.5, 2.5, 4.5, true, true}); got != want {
		t.Errorf("Alder with Dunlin: %+v", got)
	}
	if got, want := m.Rows[0][1], (MatrixCell{true, 3, 2, 4, true, false}); got != want {
		t.Errorf("Rowan with Knot: %+v", got)
	}
	if got := m.Rows[2][1]; got != (MatrixCell{}) {
		t.Errorf("Hazel with Knot: %+v", got)
	}
	if !m.Rows[3][2].Best || !m.Rows[3][3].Best || m.Rows[0][0].Best {
		t.Errorf("who is best: %+v", m.Rows)
	}

	m = r.Matrix(2)
	if len(m.Horns) != 2 || m.MoreHorns != 2 || !reflect.DeepEqual(m.Mouthpieces, []string{"Knot", "Dunlin"}) || len(m.Rows) != 2 || len(m.Rows[0]) != 2 {
		t.Errorf("the first two: %+v", m)
	}
	if m := r.Matrix(9); len(m.Horns) != 4 || m.MoreHorns != 0 {
		t.Errorf("more than there are: %+v", m)
	}
}
