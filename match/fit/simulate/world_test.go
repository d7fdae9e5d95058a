package simulate

import (
	"math"
	"reflect"
	"slices"
	"testing"
)

func TestSizes(t *testing.T) {
	for _, c := range []struct {
		kind     Kind
		size     Size
		readings float64
	}{
		{Plain, Small, 7700}, {Plain, Medium, 71000}, {Plain, Large, 1079000},
		{Harder, Small, 8000}, {Harder, Medium, 80000},
	} {
		w := Generate(c.kind, c.size, 1)
		near(t, w.String()+": readings", float64(w.Readings()), c.readings, 0.04*c.readings)
	}
}

func TestSameSeedSameWorld(t *testing.T) {
	for _, kind := range []Kind{Plain, Harder} {
		a, b, other := Generate(kind, Small, 4), Generate(kind, Small, 4), Generate(kind, Small, 5)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s: the same seed gave two worlds", kind)
		}
		if reflect.DeepEqual(a.Sessions, other.Sessions) {
			t.Errorf("%s: two seeds gave the same sessions", kind)
		}
	}
}

// groups finds the connected parts of the horns and mouthpieces, whichever of
// them, the players or both make the links.
func groups(w *World) []int {
	parent := make([]int, len(w.Horns)+len(w.Mouthpieces)+len(w.Players))
	for i := range parent {
		parent[i] = i
	}
	var find func(int) int
	find = func(i int) int {
		if parent[i] != i {
			parent[i] = find(parent[i])
		}
		return parent[i]
	}
	for _, s := range w.Sessions {
		h := find(s.Horn)
		parent[find(len(w.Horns)+s.Mouthpiece)] = h
		parent[find(len(w.Horns)+len(w.Mouthpieces)+s.Player)] = find(h)
	}
	out := make([]int, len(w.Horns)+len(w.Mouthpieces))
	for i := range out {
		out[i] = find(i)
	}
	return out
}

func TestGraph(t *testing.T) {
	for _, kind := range []Kind{Plain, Harder} {
		for _, size := range []Size{Small, Medium} {
			w := Generate(kind, size, 2)
			var once, apart, all float64
			group, partOf := groups(w), map[int]int{}
			for i, item := range append(slices.Clone(w.Horns), w.Mouthpieces...) {
				if item.Measured == 0 {
					continue
				}
				all++
				if item.Measured == 1 {
					once++
				}
				if item.Part > 0 {
					apart++
				}
				if part, seen := partOf[group[i]]; seen && part != item.Part {
					t.Fatalf("%v: a chain of sessions links parts %d and %d", w, part, item.Part)
				}
				partOf[group[i]] = item.Part
			}
			if want := 1 + islandCount(plans[kind][size].horns); len(partOf) != want {
				t.Errorf("%v: %d connected parts, want %d", w, len(partOf), want)
			}
			near(t, w.String()+": share measured once", once/all, 0.5, 0.06)
			near(t, w.String()+": share in islands", apart/all, 0.15, 0.02)
		}
	}
}

func TestHeldOutPairsWereNeverPlayed(t *testing.T) {
	w := Generate(Harder, Medium, 3)
	together, designs := map[Pair]bool{}, map[int]bool{}
	hornDesigns := map[int]bool{}
	for _, s := range w.Sessions {
		together[Pair{s.Horn, s.Mouthpiece}] = true
		designs[w.Mouthpieces[s.Mouthpiece].Design] = true
		hornDesigns[w.Horns[s.Horn].Design] = true
	}
	for _, s := range Strata {
		if len(w.HeldOut[s]) != plans[Harder][Medium].heldOut {
			t.Errorf("stratum %s has %d pairs, want %d", s, len(w.HeldOut[s]), plans[Harder][Medium].heldOut)
		}
		for _, p := range w.HeldOut[s] {
			h, m := w.Horns[p.Horn], w.Mouthpieces[p.Mouthpiece]
			right := map[Stratum]bool{
				Measured:       h.Measured > 0 && m.Measured > 0 && h.Part == m.Part,
				NewCopy:        h.Measured > 0 && m.Measured == 0 && designs[m.Design],
				NewDescribed:   h.Measured > 0 && !designs[m.Design] && m.Known,
				NewUndescribed: h.Measured > 0 && !designs[m.Design] && !m.Known,
				AcrossIslands:  h.Measured > 0 && m.Measured > 0 && h.Part != m.Part,
				NewHornCopy:    h.Measured == 0 && hornDesigns[h.Design] && m.Measured > 0,
			}[s]
			if !right || together[p] {
				t.Fatalf("stratum %s has the pair %+v: horn %+v, mouthpiece %+v", s, p, h.Part, m.Part)
			}
		}
	}
	for _, r := range w.Rankings {
		for _, m := range r.Candidates {
			if together[Pair{r.Horn, m}] {
				t.Fatalf("candidate %d was measured with horn %d", m, r.Horn)
			}
		}
		if len(r.Candidates) != candidatesPerHorn {
			t.Errorf("horn %d has %d candidates, want %d", r.Horn, len(r.Candidates), candidatesPerHorn)
		}
	}
}

// residuals are the readings of right sessions without everything but noise.
func residuals(w *World, pick func(Session) bool) (out []float64) {
	for _, s := range w.Sessions {
		if s.Wrong != "" || !pick(s) {
			continue
		}
		truth, by := w.Truth(s.Horn, s.Mouthpiece), w.Contributors[s.Contributor]
		for _, r := range s.Readings {
			out = append(out, r.Cents-truth[r.Slot]-w.Players[s.Player].Truth[r.Slot]-s.Offset-by.Tuner-s.Slide*shorter[r.Slot])
		}
	}
	return out
}

func TestReadingNoise(t *testing.T) {
	w := Generate(Plain, Medium, 6)
	e := residuals(w, func(Session) bool { return true })
	gross := 0.0
	for i, x := range e {
		e[i] = math.Abs(x)
		if e[i] > 4*PlainNoiseSD {
			gross++
		}
	}
	slices.Sort(e)
	// Median of |N(0,1)| is 0.6745; the gross ones raise it a little.
	near(t, "noise sd", e[len(e)/2]/0.6745, PlainNoiseSD, 0.1)
	// P(|6z| > 4) = 0.505.
	near(t, "gross share", gross/float64(len(e))/0.505, GrossShare, 0.002)
}

func TestContributorsDiffer(t *testing.T) {
	w := Generate(Harder, Large, 1)
	low, high := math.Inf(1), 0.0
	whole := 0
	for _, c := range w.Contributors {
		low, high = min(low, c.NoiseSD), max(high, c.NoiseSD)
		if c.Step == 1 {
			whole++
		}
	}
	near(t, "least noise", low, 2, 0.05)
	near(t, "most noise", high, 6, 0.05)
	near(t, "share of whole cents", float64(whole)/float64(len(w.Contributors)), 0.5, 0.05)
	for _, s := range w.Sessions[:200] {
		step := w.Contributors[s.Contributor].Step
		for _, r := range s.Readings {
			if k := r.Cents / step; k != math.Round(k) {
				t.Fatalf("session %s reads %v, which is not a multiple of %v", s.Name, r.Cents, step)
			}
		}
	}
}

// The catalog mean alone tells wrong sessions from right ones: a flipped one
// correlates with it negatively, and one per cent are wrong.
func TestWrongSessions(t *testing.T) {
	w := Generate(Harder, Large, 2)
	kinds := map[string]int{}
	flippedNegative := 0
	for _, s := range w.Sessions {
		kinds[s.Wrong]++
		if s.Wrong != "sign-flipped" {
			continue
		}
		if correlation(readingsAndMean(w, s)) < 0 {
			flippedNegative++
		}
	}
	near(t, "share of flipped sessions", float64(kinds["sign-flipped"])/27000, 0.005, 0.0015)
	near(t, "share of moved sessions", float64(kinds["wrong-key"])/27000, 0.005, 0.0015)
	near(t, "flipped against the mean", float64(flippedNegative)/float64(kinds["sign-flipped"]), 1, 0.03)
}

func readingsAndMean(w *World, s Session) (x, y []float64) {
	for _, r := range s.Readings {
		x = append(x, r.Cents)
		y = append(y, w.nature.mean[r.Slot])
	}
	return x, y
}

func correlation(x, y []float64) float64 {
	var mx, my, xx, yy, xy float64
	for i := range x {
		mx += x[i] / float64(len(x))
		my += y[i] / float64(len(x))
	}
	for i := range x {
		xx += (x[i] - mx) * (x[i] - mx)
		yy += (y[i] - my) * (y[i] - my)
		xy += (x[i] - mx) * (y[i] - my)
	}
	return xy / math.Sqrt(xx*yy)
}

// A player moved to another key types readings under notes two semitones off:
// moving them back brings the session near its truth again.
func TestMovedSessions(t *testing.T) {
	r := Reading{Slot: Usual[10], Cents: 5}
	if !spoil(&r, "wrong-key", 2) || r.Slot != Usual[12] {
		t.Errorf("moved up two semitones the reading is at %v, want %v", Slots[r.Slot], Slots[Usual[12]])
	}
	r = Reading{Slot: Usual[30]}
	if spoil(&r, "wrong-key", 2) {
		t.Errorf("C6 moved up is off the sheet, but was kept at %v", Slots[r.Slot])
	}
	r = Reading{Slot: Usual[3], Cents: 5}
	if !spoil(&r, "sign-flipped", 2) || r.Cents != -5 {
		t.Errorf("flipped 5 is %v", r.Cents)
	}
}

// Players keep the mouthpiece that suits the horn, so that horn and mouthpiece
// vectors of played pairs correlate negatively; with one look they do not.
func TestPlayersChoose(t *testing.T) {
	mean := func(look int) float64 {
		w := GenerateWith(Options{Kind: Harder, Size: Large, Seed: 3, Look: look})
		sum := 0.0
		for _, s := range w.Sessions {
			var x, y []float64
			for _, j := range Usual {
				x = append(x, w.Horns[s.Horn].Truth[j])
				y = append(y, w.Mouthpieces[s.Mouthpiece].Truth[j])
			}
			sum += correlation(x, y) / float64(len(w.Sessions))
		}
		return sum
	}
	if c := mean(0); c > -0.08 || c < -0.3 {
		t.Errorf("kept mouthpieces correlate %.3f with their horns, want clearly negative", c)
	}
	near(t, "correlation of random pairs", mean(1), 0, 0.02)
}

// In an even catalog no item has two sessions more than another of its part, and
// all parts hang together as in others; Sessions says how many there are.
func TestEvenCatalogs(t *testing.T) {
	w := GenerateWith(Options{Kind: Plain, Size: Small, Seed: 3, Sessions: 600, Even: true})
	if len(w.Sessions) != 600 {
		t.Fatalf("%d sessions", len(w.Sessions))
	}
	for what, items := range map[string][]Item{"horns": w.Horns, "mouthpieces": w.Mouthpieces} {
		least, most := map[int]int{}, map[int]int{}
		for _, x := range items {
			if n, ok := least[x.Part]; !ok || x.Measured < n {
				least[x.Part] = x.Measured
			}
			most[x.Part] = max(most[x.Part], x.Measured)
		}
		for part := range least {
			if least[part] < 2 || most[part]-least[part] > 1 {
				t.Errorf("%s of part %d have %d to %d sessions", what, part, least[part], most[part])
			}
		}
	}
	if uneven := GenerateWith(Options{Kind: Plain, Size: Small, Seed: 3, Sessions: 600}); slices.Equal(w.Horns[0].Truth, uneven.Horns[1].Truth) || !slices.Equal(w.Horns[0].Truth, uneven.Horns[0].Truth) {
		t.Error("who measures what changes what is true")
	}
}
