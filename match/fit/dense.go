package fit

import (
	"gonum.org/v1/gonum/mat"
)

// denseLimit is the number of unknowns up to which the equations are solved
// exactly, by a Cholesky factor of the whole matrix.
const denseLimit = 900

// matrix writes out the equations' matrix, column by column.
func (s *system) matrix() *mat.SymDense {
	a := mat.NewSymDense(s.unknowns, nil)
	w := s.newWorkspace()
	unit, column := make([]float64, s.unknowns), make([]float64, s.unknowns)
	for i := range s.unknowns {
		unit[i] = 1
		s.apply(unit, column, w)
		unit[i] = 0
		for k := range i + 1 {
			a.SetSym(i, k, column[k])
		}
	}
	return a
}

// factorise prepares exact solves; it leaves s.exact nil when the equations
// are too many or too nearly singular.
func (s *system) factorise() {
	s.exact = nil
	if s.unknowns > denseLimit {
		return
	}
	var c mat.Cholesky
	if c.Factorize(s.matrix()) {
		s.exact = &c
	}
}

// solveExact sets u to the exact solution for b, with two steps of iterative
// refinement.
func (s *system) solveExact(b, u []float64, w *workspace) SolveStatus {
	clear(u)
	copy(w.r, b)
	for range 3 {
		solveBy(s.exact, w.r)
		add(w.r, u)
		s.apply(u, w.ap, w)
		for i := range w.r {
			w.r[i] = b[i] - w.ap[i]
		}
	}
	return SolveStatus{Iterations: 1, Converged: true}
}
