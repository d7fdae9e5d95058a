package fit

import (
	"maps"
	"math"
	"slices"
	"testing"
)

// learnCase is a catalog of moderate size whose readings are drawn from the
// model's own law, with components unlike those that learning starts from.
func learnCase(t testing.TB, seed uint64, grossShare float64) (*Data, *engine) {
	t.Helper()
	const horns, mouthpieces, players, sessions = 45, 45, 30, 260
	rng := seeded(seed)
	s := newShelf(labels("horn", horns), labels("mouthpiece", mouthpieces), labels("player", players))
	slots := StandardSlots()
	var horn, mouthpiece string
	for i := range sessions {
		if i%4 != 3 { // else the pair before once more
			horn, mouthpiece = s.horns[rng.IntN(horns)].Label, s.mouthpieces[rng.IntN(mouthpieces)].Label
		}
		first := rng.IntN(10)
		session := s.measure(horn, mouthpiece, s.players[rng.IntN(players)].Label, slots[first:first+35], func(int) float64 { return 0 })
		session.Contributor = []string{"front desk", "back room"}[i%2]
	}
	d := s.load(t)
	c := DefaultComponents(len(d.Sources))
	c.Offset, c.Slide, c.Correlation, c.Wiggle, c.Interaction, c.GrossShare = 3.5, 8, 0.3, 2.4, 2.8, grossShare
	for i, source := range d.Sources {
		c.SourceNoise[i] = map[string]float64{"front desk": 2.2, "back room": 4.5}[source.Contributor]
	}
	c.factorSession()
	truth := newEngine(d, c, 1, false)
	for _, l := range truth.sys.levels {
		if f, ok := map[string]float64{levelHorn: 0.5, levelMouthpiece: 2, levelPlayer: 1.7}[l.name]; ok {
			cov := newSquare(l.p)
			axpy(f, l.cov.a, cov.a)
			l.setCovariance(cov)
		}
	}
	newLaw(t, truth, seed+1).world().read(d)
	return d, truth
}

// With readings from the model's own law, no gross errors and hardly any priors
// on the smooth differences, learning comes to the components that the readings
// were drawn with, on average over three catalogs. Tolerances are about three
// times the sampling error of that average, as seen over a dozen catalogs: how
// the smooth differences divide into the day's and the pair's only the repeated
// pairs tell, and an offset is hard to tell from a smooth difference.
func TestLearningFindsTheComponents(t *testing.T) {
	wiggle, interaction := wigglePrior.strength, interactionPrior.strength
	t.Cleanup(func() { wigglePrior.strength, interactionPrior.strength = wiggle, interaction })
	wigglePrior.strength, interactionPrior.strength = 0.1, 0.1

	const catalogs = 3
	learned, drawn := map[string]float64{}, map[string]float64{}
	for seed := range uint64(catalogs) {
		d, truth := learnCase(t, 11+seed, 1e-9)
		p := planFor(d)
		p.steps, p.settled = 40, 0
		e := newEngine(d, DefaultComponents(len(d.Sources)), 4, p.fine)
		if _, _, err := e.learn(t.Context(), p, func(int) {}); err != nil {
			t.Fatal(err)
		}
		for name, v := range e.sizes() {
			learned[name] += v / catalogs
		}
		for name, v := range truth.sizes() {
			drawn[name] += v / catalogs
		}
	}
	tolerances := map[string]float64{"noise of front desk": 0.03, "noise of back room": 0.03, "offset": 0.35, "slide": 0.15,
		"wiggle": 0.25, "interaction": 0.25, "wiggle and interaction": 0.08, levelHorn: 0.1, levelMouthpiece: 0.12, levelPlayer: 0.15}
	for _, name := range slices.Sorted(maps.Keys(tolerances)) {
		near(t, name, learned[name], drawn[name], tolerances[name])
	}
	if learned["gross"] > 0.003 {
		t.Errorf("the share of gross readings is learned as %.4f where there are none", learned["gross"])
	}
}

// near holds a learned component to what was drawn with.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	t.Logf("%-25s %.3f, drawn with %.3f", what, got, want)
	if !(math.Abs(got-want) <= tolerance*want) {
		t.Errorf("%s is learned as %.3f, drawn with %.3f: more than %.0f %% off", what, got, want, 100*tolerance)
	}
}

// sizes names the components; of the levels their typical size.
func (e *engine) sizes() map[string]float64 {
	c := e.comp
	out := map[string]float64{"gross": c.GrossShare, "offset": c.Offset, "slide": c.Slide, "wiggle": c.Wiggle, "interaction": c.Interaction,
		"wiggle and interaction": math.Hypot(c.Wiggle, c.Interaction)}
	for i, source := range e.data.Sources {
		out["noise of "+source.Contributor] = c.SourceNoise[i]
	}
	for _, l := range e.finish(e.newTables(0), Report{}).Report.Levels {
		out[l.Name] = l.SD
	}
	return out
}

// As users have it, with its priors, its few steps and 4 % of gross errors,
// learning comes near: noise a little high and the share of gross errors low,
// because a reading is judged by its mean distance; smooth differences shrunk.
func TestLearningAsPlanned(t *testing.T) {
	d, truth := learnCase(t, 12, 0.04)
	p := planFor(d)
	e := newEngine(d, DefaultComponents(len(d.Sources)), 4, p.fine)
	steps, change, err := e.learn(t.Context(), p, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	if steps < 3 || change > 0.05 {
		t.Errorf("after %d steps the standard deviations still change by %.3f", steps, change)
	}
	learned, drawn := e.sizes(), truth.sizes()
	tolerances := map[string]float64{"noise of front desk": 0.1, "noise of back room": 0.08, "gross": 0.4,
		"wiggle and interaction": 0.25, levelHorn: 0.2, levelMouthpiece: 0.2, levelPlayer: 0.2}
	for _, name := range slices.Sorted(maps.Keys(tolerances)) {
		near(t, name, learned[name], drawn[name], tolerances[name])
	}
}
