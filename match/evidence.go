package match

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Influencer is an [Engine] that can tell what a prediction owes to each session;
// [fit.Model] is one.
type Influencer interface {
	Engine
	Influences(ctx context.Context, store catalog.Store, s fit.Setup, slots []pitch.Slot, progress catalog.Counter) (*fit.Influences, error)
}

// Influence lists the sessions behind a prediction.
type Influence struct {
	Sessions []SessionInfluence `json:"sessions"` // those that move it most first
	// Others is how many sessions share nothing with the setup and move it by less
	// than leastMove; OthersMove is the most that any of them does, cents. Where
	// the catalog is large they are not looked at, and OthersMove is null.
	Others     int      `json:"others"`
	OthersMove *float64 `json:"others_move"`
	// NotWeighed is how many sessions share something and were too many to look at.
	NotWeighed int `json:"not_weighed"`
}

// SessionInfluence is what a prediction owes to one session. What moves is what
// is said without the session less what is said with it, all else being the same.
type SessionInfluence struct {
	Session     string `json:"session"`
	Date        string `json:"date,omitempty"` // RFC 3339, empty if not known
	Contributor string `json:"contributor"`
	Method      string `json:"method"`
	Horn        string `json:"horn"`
	Mouthpiece  string `json:"mouthpiece"`
	Player      string `json:"player,omitempty"`
	Readings    int    `json:"readings"`
	// Shares names what the session has in common with the setup: horn,
	// mouthpiece, player, horn design, mouthpiece design.
	Shares []string `json:"shares"`
	// ProfileMoves is how far the profile would move: root mean square over the
	// judged notes by their weights, the best offset removed. Most is the note that
	// moves most.
	ProfileMoves float64   `json:"profile_moves"`
	Most         NoteCents `json:"most"`
	// ErrorMoves is how far the expected error would move: above nought where the
	// setup would be thought worse, or less certain, without the session.
	ErrorMoves   float64 `json:"error_moves"`
	ErrorWithout float64 `json:"error_without"`
	// SDWithout is the standard deviation on a typical note without the session.
	SDWithout float64 `json:"sd_without"`
}

// leastMove is the move of a profile, in cents, below which sessions that share
// nothing with the setup are only counted: tuners are read to a cent.
const leastMove = 0.05

// FindInfluence tells what the prediction that [Explain] explains owes to each
// session of a store. Errors are those of Explain, of the engine and of the store.
func FindInfluence(ctx context.Context, e Influencer, store catalog.Store, o Of, c Criteria, adapter bool, progress catalog.Counter) (*Influence, error) {
	if err := mustFit(o, adapter); err != nil {
		return nil, err
	}
	plan, err := c.For(o.Player).plan(o.Horn, answers(e), false)
	if err != nil {
		return nil, err
	}
	p, err := e.Predict(o.setup(), plan.slots)
	if err == nil {
		err = usable([]fit.Prediction{p}, 1, len(plan.slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %s with %s: %w", o.Horn.Label, o.Mouthpiece.Label, err)
	}
	found, err := e.Influences(ctx, store, o.setup(), plan.slots, progress)
	if err != nil {
		return nil, err
	}
	w := weigher{plan: plan, with: p}
	w.begin()
	list := make([]SessionInfluence, len(found.List))
	onCores(len(list), func() func(i int) { return func(i int) { list[i] = w.weigh(found.List[i]) } })
	out := &Influence{Sessions: []SessionInfluence{}, NotWeighed: found.Left, Others: found.Sessions - found.Left - len(list)}
	if found.Whole {
		out.OthersMove = new(float64)
	}
	for i, x := range list {
		if !found.List[i].Shared.Any() && x.ProfileMoves < leastMove {
			out.Others++
			*out.OthersMove = max(*out.OthersMove, x.ProfileMoves)
			continue
		}
		out.Sessions = append(out.Sessions, x)
	}
	slices.SortFunc(out.Sessions, func(a, b SessionInfluence) int {
		return cmp.Or(cmp.Compare(b.ProfileMoves, a.ProfileMoves), cmp.Compare(a.Session, b.Session))
	})
	return out, out.name(ctx, store)
}

// weigher judges a setup without one session after the other.
type weigher struct {
	plan  plan
	with  fit.Prediction
	error float64     // with all sessions
	z     [][]float64 // normal deviates: draws x directions
}

// widestDirections is how many directions of a widening are followed.
const widestDirections = 64

// begin judges the setup with all sessions.
func (w *weigher) begin() {
	verdict, _, _ := w.plan.judge(w.with, false)
	w.error = verdict.ErrorCents
	rng := rand.New(rand.NewPCG(1, uint64(len(w.with.Draws))))
	square := make([]float64, widestDirections)
	for range w.with.Draws {
		row := make([]float64, widestDirections)
		for k := range row {
			row[k] = rng.NormFloat64()
			square[k] += row[k] * row[k] / float64(len(w.with.Draws))
		}
		w.z = append(w.z, row)
	}
	for _, row := range w.z {
		for k := range row {
			row[k] /= math.Sqrt(square[k])
		}
	}
}

// weigh judges the setup without a session: every draw is shifted, and moved by a
// draw of what is known less, once one way and once the other, so that the two
// cancel but for what they add to the square.
func (w *weigher) weigh(x fit.Influence) SessionInfluence {
	out := SessionInfluence{Session: x.Session, Readings: x.Readings, Shares: shares(x.Shared)}
	out.ProfileMoves, out.Most = w.moves(x.Shift)
	without := fit.Prediction{Mean: added(w.with.Mean, x.Shift), SD: make([]float64, len(w.with.SD))}
	for j, sd := range w.with.SD {
		v := sd * sd
		for _, wide := range x.Widening {
			v += wide[j] * wide[j]
		}
		without.SD[j] = math.Sqrt(v)
	}
	for k, draw := range w.with.Draws {
		both := [2][]float64{added(draw, x.Shift), added(draw, x.Shift)}
		for i, wide := range x.Widening[:min(len(x.Widening), widestDirections)] {
			for j, v := range wide {
				both[0][j] += w.z[k][i] * v
				both[1][j] -= w.z[k][i] * v
			}
		}
		without.Draws = append(without.Draws, both[:]...)
	}
	verdict, _, _ := w.plan.judge(without, false)
	out.ErrorWithout, out.SDWithout = verdict.ErrorCents, verdict.TypicalSD
	out.ErrorMoves = out.ErrorWithout - w.error
	return out
}

// moves sums up how far a profile is shifted, as the notes are weighted.
func (w *weigher) moves(shift []float64) (rms float64, most NoteCents) {
	var all, offset, square float64
	slots := w.plan.problem.Slots()
	for j := range slots {
		all += w.plan.problem.Weight(j)
		offset += w.plan.problem.Weight(j) * shift[j]
	}
	offset /= all
	for j, s := range slots {
		weight, v := w.plan.problem.Weight(j), shift[j]-offset
		square += weight * v * v
		if weight > 0 && (most.Note == "" || math.Abs(v) > math.Abs(most.Cents)) {
			most = NoteCents{s.Note().String(), v}
		}
	}
	return math.Sqrt(square / all), most
}

func added(a, b []float64) []float64 {
	out := slices.Clone(a)
	for j := range out {
		out[j] += b[j]
	}
	return out
}

// shares names what a session shares with the setup.
func shares(s fit.Shared) []string {
	out := []string{}
	for _, x := range []struct {
		yes  bool
		name string
	}{
		{s.Horn, "horn"}, {s.Mouthpiece, "mouthpiece"}, {s.Player, "player"},
		{s.HornDesign, "horn design"}, {s.MouthpieceDesign, "mouthpiece design"},
	} {
		if x.yes {
			out = append(out, x.name)
		}
	}
	return out
}

// name fills in who measured what when.
func (x *Influence) name(ctx context.Context, store catalog.Store) error {
	labels, err := gearLabels(ctx, store)
	if err != nil {
		return err
	}
	for i := range x.Sessions {
		row := &x.Sessions[i]
		s, err := store.Session(ctx, row.Session)
		if err != nil {
			return err
		}
		row.Contributor, row.Method = s.Contributor, string(cmp.Or(s.Method, catalog.MethodTuner))
		row.Horn, row.Mouthpiece, row.Player = labels[s.Horn], labels[s.Mouthpiece], labels[s.Player]
		if !s.At.IsZero() {
			row.Date = s.At.Format("2006-01-02T15:04:05Z07:00")
		}
	}
	return nil
}

// gearLabels gives the labels of all gear and players by id.
func gearLabels(ctx context.Context, store catalog.Store) (map[catalog.ID]string, error) {
	out := map[catalog.ID]string{}
	horns, err := store.Horns(ctx, true)
	if err != nil {
		return nil, err
	}
	for _, h := range horns {
		out[h.ID] = h.Label
	}
	mouthpieces, err := store.Mouthpieces(ctx, true)
	if err != nil {
		return nil, err
	}
	for _, m := range mouthpieces {
		out[m.ID] = m.Label
	}
	players, err := store.Players(ctx, true)
	for _, p := range players {
		out[p.ID] = p.Label
	}
	return out, err
}

// Words say what rests on what.
func (x *Influence) Words() []string {
	var out []string
	switch {
	case len(x.Sessions) == 0:
		out = append(out, "No session shares anything with this setup: the prediction is what is usual.")
	case x.Sessions[0].ProfileMoves < leastMove:
		out = append(out, "No single session matters: without any one of them the prediction would be the same to a tenth of a cent.")
	default:
		top := x.Sessions[0]
		out = append(out, fmt.Sprintf("It rests most on %s: without it the profile would move by %.1f cents, %s by %.1f, and the expected error would be %.1f instead of %.1f.",
			top.Session, top.ProfileMoves, top.Most.Note, math.Abs(top.Most.Cents), top.ErrorWithout, top.ErrorWithout-top.ErrorMoves))
	}
	if x.Others > 0 {
		text := fmt.Sprintf("Sessions that share nothing with it: %d.", x.Others)
		if x.OthersMove != nil {
			text = fmt.Sprintf("Sessions that share nothing with it and move it by %.2f cents at most: %d.", *x.OthersMove, x.Others)
		}
		out = append(out, text)
	}
	if x.NotWeighed > 0 {
		out = append(out, fmt.Sprintf("Not weighed, because there are so many: %s more that share something.", Count(x.NotWeighed, "session")))
	}
	return append(out, "Each line leaves out that session alone: of two that say the same, neither seems to matter. "+
		"How much gear and players vary, and what counts for a slip, is held as the fit learned it from all of them.")
}
