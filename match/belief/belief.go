// Package belief is what is thought of several setups at once, as a joint normal
// law of their profiles, and how a session with one of them changes it. A visit
// to a shop and the choice of the next session rest on it.
//
// Profiles are cents on some slots, + sharp. A session has a constant and a
// slide of its own, of which nothing is known beforehand; so beliefs are about
// relative intonation.
package belief

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"

	"centwise/match/fit"
)

// Belief is a joint normal law of the profiles of some setups. It is not safe
// for concurrent use while it learns.
//
// The covariance comes from the draws of a fit, of which there may be few: what
// they say of setups that have nothing in common is partly chance, as two
// independent numbers seem correlated by about 1/sqrt(draws). So the covariance
// is link times that of the draws, plus 1 - link times that of parts taken for
// independent of each other (the shrinkage of Ledoit & Wolf 2004, J. Multivariate
// Anal. 88, with that target; from memory).
type Belief struct {
	n, draws int
	means    [][]float64
	parts    []part
	of       [][]int     // parts of each setup
	total    [][]float64 // by setup: draws x n, deviations of the whole
	link     float64
	lessons  []lesson
}

// part is an independent share of setups.
type part struct {
	item       int
	deviations []float64 // draws x n; nil if there is a covariance
	covariance []float64 // n x n, of a part that no draw holds
	root       []float64 // n x n, lower factor of the covariance
}

// lesson is what a session has taught: by setup, n x m, so that covariances fall
// by gain gain'.
type lesson struct {
	gains [][]float64
	m     int
}

// New takes the shares of a fit for the independent parts.
func New(j *fit.Joint) *Belief {
	b := start(j)
	for i, s := range j.Setups {
		b.of = append(b.of, s.Shares)
		b.total = append(b.total, b.sum(j, i))
	}
	for _, s := range j.Shares {
		b.parts = append(b.parts, newPart(s, b.n))
	}
	b.link = b.measureLink()
	return b
}

// NewAround takes apart the setups of one horn and one player in the way that
// suits a player who has measured the first of them: what is known of that one as
// a whole is known well, though of its horn, mouthpiece and player less; so it is
// a part of its own. The others share what is common to them and have a
// difference each.
func NewAround(j *fit.Joint) *Belief {
	b := start(j)
	common := len(j.Setups) // the number of that part
	for i := range j.Setups {
		b.total = append(b.total, b.sum(j, i))
	}
	mean := make([]float64, b.draws*b.n)
	for i := 1; i < len(j.Setups); i++ {
		axpy(1/float64(len(j.Setups)-1), b.total[i], mean)
	}
	for i, total := range b.total {
		own := part{item: i, deviations: total}
		b.of = append(b.of, []int{i})
		if i > 0 {
			own.deviations = append([]float64(nil), total...)
			axpy(-1, mean, own.deviations)
			b.of[i] = append(b.of[i], common)
		}
		b.parts = append(b.parts, own)
	}
	b.parts = append(b.parts, part{item: common, deviations: mean})
	for _, s := range j.Shares {
		b.parts = append(b.parts, newPart(s, b.n))
		b.parts[len(b.parts)-1].item += common + 1
	}
	for i, s := range j.Setups {
		for _, at := range s.Shares {
			if j.Shares[at].Deviations == nil {
				b.of[i] = append(b.of[i], common+1+at)
			}
		}
	}
	b.link = b.measureLink()
	return b
}

func start(j *fit.Joint) *Belief {
	b := &Belief{n: len(j.Slots), draws: j.Draws}
	for _, s := range j.Setups {
		b.means = append(b.means, append([]float64(nil), s.Mean...))
	}
	return b
}

// sum adds up the deviations of a setup.
func (b *Belief) sum(j *fit.Joint, i int) []float64 {
	out := make([]float64, b.draws*b.n)
	for _, at := range j.Setups[i].Shares {
		if d := j.Shares[at].Deviations; d != nil {
			axpy(1, d, out)
		}
	}
	return out
}

func newPart(s fit.JointShare, n int) part {
	p := part{item: s.Item, deviations: s.Deviations, covariance: s.Covariance}
	if s.Covariance != nil {
		p.root = factor(s.Covariance, n)
	}
	return p
}

// linkParts is how many parts are looked at to see how far parts hang together:
// more would not change the answer.
const linkParts = 24

// measureLink gives the weight of the draws' covariance between parts: with r
// their correlations, mean square less what chance makes of it over mean square.
func (b *Belief) measureLink() float64 {
	var some []part
	for i := range b.parts {
		if b.parts[i].deviations != nil && len(some) < linkParts {
			some = append(some, b.parts[i])
		}
	}
	sum, count := 0.0, 0.0
	for i := range some {
		for k := range i {
			if some[i].item == some[k].item {
				continue
			}
			for j := range b.n {
				xy, xx, yy := 0.0, 0.0, 0.0
				for d := j; d < b.draws*b.n; d += b.n {
					x, y := some[i].deviations[d], some[k].deviations[d]
					xy, xx, yy = xy+x*y, xx+x*x, yy+y*y
				}
				if xx > 0 && yy > 0 {
					sum += xy * xy / (xx * yy)
					count++
				}
			}
		}
	}
	if sum == 0 {
		return 1 // a single part: nothing to take for independent
	}
	return math.Max(0, 1-count/(float64(b.draws)*sum))
}

// Setups is how many setups the belief is about.
func (b *Belief) Setups() int { return len(b.means) }

// Slots is the length of the profiles.
func (b *Belief) Slots() int { return b.n }

// Mean is the expected profile of a setup; it is changed by what is learned.
func (b *Belief) Mean(i int) []float64 { return b.means[i] }

// Covariance sets dst (n x n) to that of setup i (rows) with setup k (columns).
func (b *Belief) Covariance(dst []float64, i, k int) {
	b.first(dst, i, k)
	for _, l := range b.lessons {
		blas64.Gemm(blas.NoTrans, blas.Trans, -1, general(b.n, l.m, l.gains[i]), general(b.n, l.m, l.gains[k]), 1, general(b.n, b.n, dst))
	}
}

// first is the covariance before anything was learned.
func (b *Belief) first(dst []float64, i, k int) {
	clear(dst)
	product := func(weight float64, x, y []float64) {
		blas64.Gemm(blas.Trans, blas.NoTrans, weight/float64(b.draws), general(b.draws, b.n, x), general(b.draws, b.n, y), 1, general(b.n, b.n, dst))
	}
	if b.link > 0 {
		product(b.link, b.total[i], b.total[k])
	}
	for _, p := range b.of[i] {
		for _, q := range b.of[k] {
			x, y := &b.parts[p], &b.parts[q]
			switch {
			case x.item != y.item:
			case x.deviations == nil:
				axpy(1, x.covariance, dst)
			case b.link < 1:
				product(1-b.link, x.deviations, y.deviations)
			}
		}
	}
}

// Variance is the mean over the notes of the variance of a setup's profile, cents
// squared.
func (b *Belief) Variance(i int) float64 {
	c := make([]float64, b.n*b.n)
	b.Covariance(c, i, i)
	sum := 0.0
	for j := range b.n {
		sum += c[j*b.n+j]
	}
	return sum / float64(b.n)
}

// Clone gives a belief that learns for itself.
func (b *Belief) Clone() *Belief {
	out := *b
	out.means = nil
	for _, m := range b.means {
		out.means = append(out.means, append([]float64(nil), m...))
	}
	out.lessons = append([]lesson(nil), b.lessons...)
	return &out
}
