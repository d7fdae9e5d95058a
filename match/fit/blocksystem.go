package fit

import (
	"maps"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// blockSystem is a symmetric positive definite system of few, wide blocks, most of
// which touch few others: nodes are eliminated in their order up to the dense
// ones, whose equations are inverted as a whole. It gives blocks of the inverse,
// which is the posterior covariance of the unknowns.
type blockSystem struct {
	width  []int
	widest int
	dense  int      // the first dense node
	fronts []*front // of the nodes before it
	offset []int    // of the dense nodes in rest
	rest   square   // of the dense nodes; after solve its inverse
	known  map[[2]int][]float64
}

// front is a node to be eliminated.
type front struct {
	own   square    // its own block; after solve the inverse of what it was then
	later []int     // nodes eliminated after it that it touches, in order
	at    []int     // of later: where their columns begin
	cols  int       // columns of all of them
	a     []float64 // width x cols; after solve own^-1 times what it was then
}

// newBlockSystem lays out nodes of the given widths, of which those from dense on
// are inverted as a whole; links lists groups of nodes that touch each other, in
// rising order. It begins as the identity.
func newBlockSystem(width []int, dense int, links [][]int) *blockSystem {
	s := &blockSystem{width: width, dense: dense, offset: make([]int, len(width)), known: map[[2]int][]float64{}}
	touches := make([]map[int]bool, dense)
	for i := range touches {
		touches[i] = map[int]bool{}
	}
	link := func(group []int) {
		for k, i := range group {
			for _, j := range group[k+1:] {
				if i < dense {
					touches[i][j] = true
				}
			}
		}
	}
	for _, group := range links {
		link(group)
	}
	for i := range dense {
		later := slices.Sorted(maps.Keys(touches[i]))
		if len(later) > 0 && later[0] < dense { // the others follow by way of this one
			for _, j := range later[1:] {
				touches[later[0]][j] = true
			}
		}
		f := &front{own: newSquare(width[i]), later: later}
		f.own.addDiagonal(1)
		for _, j := range later {
			f.at = append(f.at, f.cols)
			f.cols += width[j]
		}
		f.a = make([]float64, width[i]*f.cols)
		s.fronts = append(s.fronts, f)
	}
	n := 0
	for i, w := range width {
		s.widest = max(s.widest, w)
		if i >= dense {
			s.offset[i] = n
			n += w
		}
	}
	s.rest = newSquare(n)
	s.rest.addDiagonal(1)
	return s
}

// add adds a block (width of i x width of j) to the equations, i <= j.
func (s *blockSystem) add(i, j int, block []float64) {
	if i >= s.dense {
		wi, wj := s.width[i], s.width[j]
		for r := range wi {
			add(block[r*wj:][:wj], s.rest.row(s.offset[i] + r)[s.offset[j]:])
		}
		if i != j {
			for r := range wi {
				for c := range wj {
					s.rest.a[(s.offset[j]+c)*s.rest.n+s.offset[i]+r] += block[r*wj+c]
				}
			}
		}
		return
	}
	f := s.fronts[i]
	if i == j {
		add(block, f.own.a)
		return
	}
	k, _ := slices.BinarySearch(f.later, j)
	w := s.width[j]
	for r := range s.width[i] {
		add(block[r*w:][:w], f.a[r*f.cols+f.at[k]:])
	}
}

// solve eliminates the nodes and inverts the rest. It reports false when the
// system is not positive definite.
func (s *blockSystem) solve() bool {
	for i, f := range s.fronts {
		w := s.width[i]
		if !f.own.invertSPD() {
			return false
		}
		solved := make([]float64, len(f.a))
		if f.cols > 0 {
			mul(solved, f.own.a, f.a, w, w, f.cols)
			s.eliminate(f, w, solved)
		}
		f.a = solved
	}
	return s.rest.n == 0 || s.rest.invertSPD()
}

// eliminate takes a node out of the equations of those that it touches; solved is
// own^-1 a.
func (s *blockSystem) eliminate(f *front, w int, solved []float64) {
	sum := make([]float64, f.cols*f.cols)
	blas64.Gemm(blas.Trans, blas.NoTrans, -1, general(w, f.cols, f.a), general(w, f.cols, solved), 0, general(f.cols, f.cols, sum))
	var block []float64
	for k, i := range f.later {
		for l := k; l < len(f.later); l++ {
			j := f.later[l]
			block = block[:0]
			for r := range s.width[i] {
				block = append(block, sum[(f.at[k]+r)*f.cols+f.at[l]:][:s.width[j]]...)
			}
			s.add(i, j, block)
		}
	}
}

// covariance is the block of the inverse that belongs to nodes i and j, width of
// i x width of j.
func (s *blockSystem) covariance(i, j int) []float64 {
	key := [2]int{i, j}
	if c, ok := s.known[key]; ok {
		return c
	}
	wi, wj := s.width[i], s.width[j]
	out := make([]float64, wi*wj)
	switch {
	case i > j:
		c := s.covariance(j, i)
		for r := range wi {
			for k := range wj {
				out[r*wj+k] = c[k*wi+r]
			}
		}
	case i >= s.dense:
		for r := range wi {
			copy(out[r*wj:][:wj], s.rest.row(s.offset[i] + r)[s.offset[j]:])
		}
	default:
		f := s.fronts[i]
		column := make([]float64, 0, f.cols*wj)
		for _, k := range f.later {
			column = append(column, s.covariance(k, j)...)
		}
		if i == j {
			copy(out, f.own.a)
		}
		if f.cols > 0 {
			part := make([]float64, len(out))
			mul(part, f.a, column, wi, f.cols, wj)
			axpy(-1, part, out)
		}
	}
	s.known[key] = out
	return out
}
