package fit

// table keeps vectors of one width for many items: the mean of each and its
// deviation in every draw, item by item so that one item lies together.
type table struct {
	Width, Draws int
	Mean         []float64 // items x width
	Deviations   []float32 // items x draws x width
}

func newTable(items, width, draws int) table {
	return table{width, draws, make([]float64, items*width), make([]float32, items*draws*width)}
}

func (t *table) mean(item int) []float64 { return t.Mean[item*t.Width:][:t.Width] }

func (t *table) deviation(item, draw int) []float32 {
	return t.Deviations[(item*t.Draws+draw)*t.Width:][:t.Width]
}

// addLevel adds, for every item, the coefficients of its block of a level.
func (t *table) addLevel(e *engine, l *level, block func(item int) int) {
	items := len(t.Mean) / t.Width
	parallel(items, func(lo, hi int) {
		deviation := make([]float64, l.p)
		for i := lo; i < hi; i++ {
			at := l.first + block(i)*l.p
			add(l.coefficients(e.answer.u[at:at+l.p]), t.mean(i))
			for k := range e.draws {
				st := &e.draws[k]
				for c := range deviation {
					deviation[c] = st.truth.u[at+c] - st.u[at+c]
				}
				into := t.deviation(i, k)
				for c, v := range l.coefficients(deviation) {
					into[c] += float32(v)
				}
			}
		}
	})
}

// addDimensions adds what follows from each mouthpiece's dimensions.
func (t *table) addDimensions(e *engine, l *level, z [][dimensionCount]float64) {
	coefficients := func(value func(i int) float64) [][]float64 {
		out := make([][]float64, dimensionCount)
		white := make([]float64, l.p)
		for d := range out {
			for c := range white {
				white[c] = value(l.first + d*l.p + c)
			}
			out[d] = l.coefficients(white)
		}
		return out
	}
	mean := coefficients(func(i int) float64 { return e.answer.u[i] })
	for i := range z {
		for d, zd := range z[i] {
			axpy(zd, mean[d], t.mean(i))
		}
	}
	for k := range e.draws {
		st := &e.draws[k]
		dev := coefficients(func(i int) float64 { return st.truth.u[i] - st.u[i] })
		for i := range z {
			into := t.deviation(i, k)
			for d, zd := range z[i] {
				for c, v := range dev[d] {
					into[c] += float32(zd * v)
				}
			}
		}
	}
}
