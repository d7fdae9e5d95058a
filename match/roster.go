package match

import (
	"context"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// DefaultChangeCents is what another horn, or another mouthpiece, than a student
// has now must gain to be worth the change. On simulated classes 0.5 cents lost
// .06 cents of the mean, moved four students of twenty fewer, and halved those
// worse off.
const DefaultChangeCents = 0.5

// Student is somebody who is to have a horn.
type Student struct {
	// Player is the student; with an empty ID, one that the catalog does not
	// know, who is judged as a typical player.
	Player   catalog.Player
	Criteria Criteria // with the notes of the parts that the student plays

	// What horns will do; zero values are no limit.
	Key        pitch.Key
	Instrument catalog.Instrument
	BoreMM     Limits

	Own *catalog.Mouthpiece // their own; nil: they need a spare one
	// KeepOwn students with a mouthpiece of their own are given no other.
	KeepOwn bool
	// NowHorn and NowMouthpiece are played now; nil = none.
	NowHorn       *catalog.Horn
	NowMouthpiece *catalog.Mouthpiece
	Only          catalog.ID   // the horn they must have; empty = any
	Never         []catalog.ID // horns they must not have
}

// Spare is a mouthpiece that may be given to a student, as often as there are
// copies.
type Spare struct {
	Mouthpiece catalog.Mouthpiece
	Copies     int
}

// RosterQuestion asks who should have which horn.
type RosterQuestion struct {
	Students []Student
	Horns    []catalog.Horn // that may be given out
	Spares   []Spare
	// ChangeCents is what a student's change of horn must gain, and a change of
	// mouthpiece too; see DefaultChangeCents.
	ChangeCents float64
	// Fairest makes the worst student's error small first, then the next worst's;
	// else the total of all is the least.
	Fairest bool
	Adapter bool // shank and receiver may differ
	// WhatIf is compared with the plan without it; nil = nothing.
	WhatIf   *WhatIf
	Progress catalog.Counter // nil shows nothing
}

// WhatIf changes a question.
type WhatIf struct {
	Locks   map[string]catalog.ID // horns that students, by label, must have
	Without []catalog.ID          // horns that are taken away
	Add     []catalog.Horn        // horns that are added
}

// Roster is a plan of who has what.
type Roster struct {
	Fairest     bool           `json:"fairest"`
	ChangeCents float64        `json:"change_cents"` // what a change must gain
	Lines       []RosterLine   `json:"pairings"`
	Unserved    []Unserved     `json:"unserved,omitempty"`
	Spare       []string       `json:"horns_left"` // horns that nobody has
	MeanCents   float64        `json:"mean_error_cents"`
	WorstCents  float64        `json:"worst_error_cents"`
	WorstOf     string         `json:"worst_student,omitempty"`
	Gain        *ClassGain     `json:"gain,omitempty"`
	Moved       int            `json:"moved"` // students who get another horn than they have
	Proof       Proof          `json:"proof"`
	WhatIf      *WhatIfOutcome `json:"what_if,omitempty"`
	Notes       []string       `json:"notes,omitempty"`
}

// Proof says how good a plan is for certain.
type Proof struct {
	Exact bool `json:"exact"`
	// LostCents is how much better, a student, the best plan can be at most.
	LostCents float64 `json:"lost_cents_at_most"`
	// WorstBoundCents is, of a fairest plan, what the worst student has at least
	// in every plan that serves as many, changes counted; 0 = not known.
	WorstBoundCents float64 `json:"worst_bound_cents,omitempty"`
}

// ClassGain compares a plan with what students play now.
type ClassGain struct {
	Students int `json:"students"` // who play something now and are served
	Gain         // mean of these
	// WorseOff is the expected number of students left more than half a cent
	// worse than now.
	WorseOff float64 `json:"expected_worse_off"`
}

// WorseOffCents is how much worse a student is who counts as worse off.
const WorseOffCents = 0.5

// RosterLine is what one student gets.
type RosterLine struct {
	Student    string `json:"student"`
	Horn       string `json:"horn"`
	Mouthpiece string `json:"mouthpiece"`
	Own        bool   `json:"own_mouthpiece"`
	Verdict
	Basis     fit.Basis `json:"basis"`
	Linked    bool      `json:"linked"`
	Weighting string    `json:"weights"`
	// Sessions count those with the student, and with this very pair.
	Sessions     int `json:"student_sessions"`
	PairSessions int `json:"pair_sessions"`

	NowHorn       string   `json:"now_horn,omitempty"`
	NowMouthpiece string   `json:"now_mouthpiece,omitempty"`
	NowCents      *float64 `json:"now_error_cents,omitempty"`
	Gain          *Gain    `json:"gain,omitempty"` // nil when nothing is played now
	Moved         bool     `json:"moved"`          // to another horn
	// RunnerUp is the next best plan for the whole class in which the student has
	// another horn; nil when there is none.
	RunnerUp *RunnerUp `json:"runner_up,omitempty"`
}

// RunnerUp is another horn for a student.
type RunnerUp struct {
	Horn string `json:"horn"`
	// CostCents is by how much the total of the class rises, mouthpieces staying
	// as they are, changes counted.
	CostCents float64 `json:"cost_cents"`
}

// WhatIfOutcome compares with the plan without the what-if.
type WhatIfOutcome struct {
	TotalCents float64 `json:"total_cents"` // by how much the total rises, changes counted
	WorstCents float64 `json:"worst_cents"` // by how much the worst error rises
	Served     int     `json:"served"`      // how many more are served
	Different  int     `json:"different"`   // students who have something else
}

// PlanRoster gives students horns, and mouthpieces where they need one. It fails
// with Invalid when the question contradicts itself. Students that can't be
// served are named in the answer, with the reason. The answer does not depend on
// the order of students and gear.
func PlanRoster(ctx context.Context, e Engine, q RosterQuestion) (*Roster, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	d, err := newDesk(ctx, e, q)
	if err != nil {
		return nil, err
	}
	plain := d.plan(d.plainRules())
	if q.WhatIf == nil {
		return d.roster(plain)
	}
	changed := d.plan(d.rules())
	r, err := d.roster(changed)
	if err == nil {
		r.WhatIf = d.compare(plain, changed)
	}
	return r, err
}

func (q RosterQuestion) check() error {
	seen := map[string]bool{}
	for _, s := range q.Students {
		if seen[s.Player.Label] {
			return catalog.Errorf(catalog.Invalid, "name every student once", "the student %q is there twice", s.Player.Label)
		}
		seen[s.Player.Label] = true
	}
	switch {
	case len(q.Students) == 0:
		return catalog.Errorf(catalog.NotFound, "add players, or give a class list", "there is no student to give a horn to")
	case !(q.ChangeCents >= 0) || math.IsInf(q.ChangeCents, 1):
		return catalog.Errorf(catalog.Invalid, "give nought or more", "what a change must gain is %g cents", q.ChangeCents)
	}
	for _, s := range q.Spares {
		if s.Copies < 0 {
			return catalog.Errorf(catalog.Invalid, "give nought or more", "there are %d copies of %q", s.Copies, s.Mouthpiece.Label)
		}
	}
	if q.WhatIf == nil {
		return nil
	}
	locked := map[catalog.ID]string{}
	for _, label := range sortedKeys(q.WhatIf.Locks) {
		id := q.WhatIf.Locks[label]
		if !seen[label] {
			return catalog.Errorf(catalog.NotFound, "lock students of the class", "%q, who is to keep a horn, is no student of the class", label)
		}
		if other := locked[id]; other != "" {
			return catalog.Errorf(catalog.Invalid, "lock one of them", "%s and %s are locked to the same horn", other, label)
		}
		locked[id] = label
	}
	return nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
