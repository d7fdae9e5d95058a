package belief

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// Scores is a belief as far as one number of each setup goes, of which the slope
// by the profile is known. It is safe for concurrent use as long as the belief
// learns nothing.
type Scores struct {
	b      *Belief
	slopes [][]float64
	whole  [][]float64   // by setup: draws
	parts  [][][]float64 // by setup and part: draws, or n for a part with a covariance
	known  [][][]float64 // by setup and lesson: m
}

// Scores takes the slopes, one vector a setup, n each; nil for setups whose score
// does not matter.
func (b *Belief) Scores(slopes [][]float64) *Scores {
	s := &Scores{b, slopes, make([][]float64, len(slopes)), make([][][]float64, len(slopes)), make([][][]float64, len(slopes))}
	for k, slope := range slopes {
		if slope == nil {
			continue
		}
		s.whole[k] = times(b.total[k], b.draws, slope)
		for _, p := range b.of[k] {
			x := &b.parts[p]
			if x.deviations != nil {
				s.parts[k] = append(s.parts[k], times(x.deviations, b.draws, slope))
			} else {
				s.parts[k] = append(s.parts[k], times(x.covariance, b.n, slope))
			}
		}
		for _, l := range b.lessons {
			s.known[k] = append(s.known[k], timesTransposed(l.gains[k], b.n, slope))
		}
	}
	return s
}

// times is a matrix of so many rows times x.
func times(a []float64, rows int, x []float64) []float64 {
	out := make([]float64, rows)
	blas64.Gemv(blas.NoTrans, 1, general(rows, len(x), a), blas64.Vector{N: len(x), Inc: 1, Data: x}, 0, blas64.Vector{N: rows, Inc: 1, Data: out})
	return out
}

// timesTransposed is the transpose of a matrix of so many rows times x.
func timesTransposed(a []float64, rows int, x []float64) []float64 {
	columns := len(a) / rows
	out := make([]float64, columns)
	blas64.Gemv(blas.Trans, 1, general(rows, columns, a), blas64.Vector{N: rows, Inc: 1, Data: x}, 0, blas64.Vector{N: columns, Inc: 1, Data: out})
	return out
}

// With is the covariance of the score of setup k with the profile of setup i, n.
func (s *Scores) With(k, i int) []float64 {
	b := s.b
	out := make([]float64, b.n)
	add := func(weight float64, draws, deviations []float64) {
		blas64.Gemv(blas.Trans, weight/float64(b.draws), general(b.draws, b.n, deviations), blas64.Vector{N: b.draws, Inc: 1, Data: draws}, 1,
			blas64.Vector{N: b.n, Inc: 1, Data: out})
	}
	if b.link > 0 {
		add(b.link, s.whole[k], b.total[i])
	}
	for at, p := range b.of[k] {
		for _, q := range b.of[i] {
			switch x, y := &b.parts[p], &b.parts[q]; {
			case x.item != y.item:
			case x.deviations == nil:
				axpy(1, s.parts[k][at], out)
			case b.link < 1:
				add(1-b.link, s.parts[k][at], y.deviations)
			}
		}
	}
	for at, l := range b.lessons {
		axpy(-1, times(l.gains[i], b.n, s.known[k][at]), out)
	}
	return out
}

// Prospect is what a session to come with setup i would teach of the scores,
// before anybody knows what it reads: by setup a vector, one entry a note that is
// read, whose products are the covariances of the expected scores afterwards. All
// notes are read so many times.
func (s *Scores) Prospect(i int, l Law, notes []int, times int) [][]float64 {
	b, m := s.b, len(notes)
	c := make([]float64, b.n*b.n)
	b.Covariance(c, i, i)
	root := factor(plus(pick(c, b.n, notes), l.plan(notes, times)), m)
	out := make([][]float64, len(s.whole))
	for k := range s.whole {
		if s.whole[k] == nil {
			continue
		}
		with := s.With(k, i)
		v := make([]float64, m)
		for a, note := range notes {
			v[a] = with[note]
		}
		solveLower(root, m, v)
		out[k] = v
	}
	return out
}

// Covariance is that of the scores of setups i and k, the score's unit squared.
func (s *Scores) Covariance(i, k int) float64 {
	return dot(s.With(i, k), s.slopes[k])
}
