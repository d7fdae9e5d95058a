package match

import (
	"cmp"
	"slices"
)

// Matrix is a ranking of all pairs as a table: horns by mouthpieces.
type Matrix struct {
	Player    string  `json:"player,omitempty"` // label; empty = a typical player
	SortedBy  SortKey `json:"sorted_by"`
	Weighting string  `json:"weights"`
	// Horns come in the order of their best pairings, Mouthpieces by how many
	// of these horns they are the best for, then in the order of theirs.
	Horns       []string       `json:"horns"`
	Mouthpieces []string       `json:"mouthpieces"`
	Rows        [][]MatrixCell `json:"rows"`                 // by horn, then by mouthpiece
	MoreHorns   int            `json:"more_horns,omitempty"` // left out
	Notes       []string       `json:"notes,omitempty"`
}

// MatrixCell is what a matrix holds of one pairing. Judged is false where a
// filter took the pairing out, or it does not fit.
type MatrixCell struct {
	Judged     bool    `json:"judged"`
	ErrorCents float64 `json:"error_cents"`
	Low        float64 `json:"low"` // 80 % interval
	High       float64 `json:"high"`
	Best       bool    `json:"best"`     // first of its horn
	Measured   bool    `json:"measured"` // somebody measured this very pairing
}

// Matrix arranges a ranking of all pairs, with the first top horns, or all of
// them if top is 0, and the mouthpieces that were judged with any of these.
// Pairings that nothing tells apart share the mark of being best.
func (r *Ranking) Matrix(top int) *Matrix {
	m := &Matrix{Player: r.Player, SortedBy: r.SortedBy, Weighting: r.Weighting, Notes: r.Notes}
	bestRank := map[string]int{} // by horn
	for _, p := range r.Pairings {
		if _, seen := bestRank[p.Horn]; !seen {
			bestRank[p.Horn] = p.Rank
			m.Horns = append(m.Horns, p.Horn)
		}
	}
	if top > 0 && top < len(m.Horns) {
		m.Horns, m.MoreHorns = m.Horns[:top], len(m.Horns)-top
	}
	row := orderOf(m.Horns)
	m.Mouthpieces = r.columns(row, bestRank)
	column := orderOf(m.Mouthpieces)
	for range m.Horns {
		m.Rows = append(m.Rows, make([]MatrixCell, len(m.Mouthpieces)))
	}
	for _, p := range r.Pairings {
		if i, ok := row[p.Horn]; ok {
			m.Rows[i][column[p.Mouthpiece]] = MatrixCell{true, p.ErrorCents, p.Low, p.High, p.Rank == bestRank[p.Horn], p.PairSessions > 0}
		}
	}
	return m
}

// columns orders the mouthpieces that were judged with some horns.
func (r *Ranking) columns(horns map[string]int, bestRank map[string]int) []string {
	var out []string
	wins, first := map[string]int{}, map[string]int{}
	for i, p := range r.Pairings {
		if _, shown := horns[p.Horn]; !shown {
			continue
		}
		if _, seen := first[p.Mouthpiece]; !seen {
			first[p.Mouthpiece] = i
			out = append(out, p.Mouthpiece)
		}
		if p.Rank == bestRank[p.Horn] {
			wins[p.Mouthpiece]++
		}
	}
	slices.SortStableFunc(out, func(a, b string) int {
		return cmp.Or(cmp.Compare(wins[b], wins[a]), cmp.Compare(first[a], first[b]))
	})
	return out
}

// orderOf gives the place of each label.
func orderOf(labels []string) map[string]int {
	at := make(map[string]int, len(labels))
	for i, l := range labels {
		at[l] = i
	}
	return at
}
