package cli

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/importers/sheet"
	"centwise/match"
)

// classHelp is what the help says of students.
var classHelp = []string{
	`CLASS is a sheet, CSV or .xlsx, with a row a student. Only the column student is needed, with handles of players:
mouthpiece: the student's own; horn, lent_mouthpiece: what they play now; key, instrument: what they need; part, part_name:
a file of MusicXML or MIDI whose notes count for them, as long as they sound; low, high: their written range; keep: the horn
they must have, or yes for the one they play now; never: horns they must not have; keep_mouthpiece: yes to give them no
other than their own; bore_min_mm, bore_max_mm: limits of the horn's bore; group, name.`,
	`What is lent to students by 'roster commit' is what they play now, unless CLASS says otherwise; what is lent to others
is not given out. Without CLASS the students are the players of the catalog, or those with a --tag. A mouthpiece whose owner is the
student's handle is their own. Spare mouthpieces keep to the comfort ranges of players.`,
}

// anyWord lifts a limit.
const anyWord = "any"

// needFlags say what students need who don't say otherwise.
type needFlags struct{ key, instrument string }

func (n *needFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&n.key, "key", string(pitch.KeyBb), "`KEY` of horn that students need who don't say otherwise; any for whatever there is")
	fs.StringVar(&n.instrument, "instrument", string(catalog.Trumpet), "`KIND` of horn that students need who don't say otherwise; any for whatever there is")
}

func (n *needFlags) needs() (key pitch.Key, instrument catalog.Instrument, err error) {
	if !strings.EqualFold(n.key, anyWord) {
		if key, err = pitch.ParseKey(n.key); err != nil {
			return "", "", usagef("--key Bb", "--key: %v", err)
		}
	}
	if !strings.EqualFold(n.instrument, anyWord) {
		instrument, err = oneOf("instrument", n.instrument, catalog.Instruments)
	}
	return key, instrument, err
}

// classList is the students of a plan.
type classList struct {
	students []match.Student
	out      []catalog.LoanSummary // what is lent now, to whomever
	names    map[string]string     // by handle
	remarks  []string
}

// classReader turns players and rows of a class list into students.
type classReader struct {
	ctx         context.Context
	store       catalog.Store
	players     []catalog.Player
	horns       []catalog.Horn // retired ones too
	mouthpieces []catalog.Mouthpiece
	out         []catalog.LoanSummary // what is lent now
	key         pitch.Key
	instrument  catalog.Instrument
	criteria    match.Criteria
	parts       map[string]match.Criteria // read already
	list        *classList
}

// classList reads the students.
func (o *rosterAsk) classList(ctx context.Context, store catalog.Store) (*classList, error) {
	r := &classReader{ctx: ctx, store: store, parts: map[string]match.Criteria{}, list: &classList{names: map[string]string{}}}
	var err error
	if r.key, r.instrument, err = o.needs.needs(); err != nil {
		return nil, err
	}
	if r.criteria, err = o.judge.asked(); err != nil {
		return nil, err
	}
	if r.players, err = store.Players(ctx, false); err != nil {
		return nil, err
	}
	if r.horns, err = store.Horns(ctx, true); err != nil {
		return nil, err
	}
	if r.mouthpieces, err = store.Mouthpieces(ctx, true); err != nil {
		return nil, err
	}
	if r.out, err = store.Loans(ctx, catalog.LoanFilter{Out: true}); err != nil {
		return nil, err
	}
	r.list.out = r.out
	if o.class == "" {
		return r.ofCatalog(o.tag)
	}
	return r.ofFile(o.class, o.ignoreExtra)
}

// ofCatalog makes students of the players, or those with a tag.
func (r *classReader) ofCatalog(tag string) (*classList, error) {
	for _, p := range r.players {
		if tag == "" || slices.ContainsFunc(p.Tags, func(t string) bool { return strings.EqualFold(t, tag) }) {
			r.list.students = append(r.list.students, r.student(p))
		}
	}
	if len(r.list.students) == 0 {
		if tag != "" {
			return nil, catalog.Errorf(catalog.NotFound, "give the students the tag: centwise player edit HANDLE --tags "+catalog.ShellWord(tag), "no player has the tag %q", tag)
		}
		return nil, catalog.Errorf(catalog.NotFound, "add some, as in: centwise player add reed-otter", "there are no players in the catalog")
	}
	return r.list, nil
}

// student is a player with what the catalog and the flags say.
func (r *classReader) student(p catalog.Player) match.Student {
	s := match.Student{Player: p, Criteria: r.criteria, Key: r.key, Instrument: r.instrument}
	for i := range r.mouthpieces {
		if m := &r.mouthpieces[i]; m.Owner != "" && !m.Retired && strings.EqualFold(m.Owner, p.Label) {
			if s.Own != nil {
				r.list.remarks = append(r.list.remarks, fmt.Sprintf("%s owns several mouthpieces: %s counts; the column mouthpiece of a class list can say another.", p.Label, s.Own.Label))
				break
			}
			s.Own = m
		}
	}
	s.NowMouthpiece = s.Own
	r.lent(&s)
	return s
}

// lent puts in what is lent to a student: the first horn, and the mouthpiece, if
// they have none of their own.
func (r *classReader) lent(s *match.Student) {
	for _, l := range r.out {
		if l.Player != s.Player.ID {
			continue
		}
		if at := slices.IndexFunc(r.horns, func(h catalog.Horn) bool { return h.ID == l.Horn }); at >= 0 && s.NowHorn == nil {
			s.NowHorn = &r.horns[at]
		}
		if at := slices.IndexFunc(r.mouthpieces, func(m catalog.Mouthpiece) bool { return m.ID == l.Mouthpiece }); at >= 0 && s.NowMouthpiece == nil {
			s.NowMouthpiece = &r.mouthpieces[at]
		}
	}
}

// ofFile reads a class list.
func (r *classReader) ofFile(path string, ignoreExtra bool) (*classList, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading the class list", Hint: "name a sheet with the column student", Err: err}
	}
	defer file.Close()
	rows, err := sheet.ReadClass(sheet.File{Name: path, Content: file}, ignoreExtra)
	if err != nil {
		return nil, err
	}
	var problems []string
	for _, row := range rows {
		s, err := r.row(row)
		if err != nil {
			problems = append(problems, fmt.Sprintf("%s:%d: %v", path, row.Line, err))
			continue
		}
		r.list.students = append(r.list.students, s)
		if row.Name != "" {
			r.list.names[s.Player.Label] = row.Name
		}
	}
	if len(problems) > 0 {
		return nil, catalog.Errorf(catalog.NotFound, "correct the class list", "%s of the class list can't be used:\n%s", match.Count(len(problems), "row"), strings.Join(problems, "\n"))
	}
	return r.list, nil
}

// row makes a student of a row of a class list.
func (r *classReader) row(row sheet.ClassRow) (s match.Student, err error) {
	player, err := r.player(row.Student)
	if err != nil {
		return s, err
	}
	s = r.student(player)
	s.Key, s.Instrument = cmp.Or(row.Key, s.Key), cmp.Or(row.Instrument, s.Instrument)
	s.BoreMM, s.KeepOwn = match.Limits{Min: row.LowBoreMM, Max: row.TopBore}, row.KeepOwn
	if row.Mouthpiece != "" {
		m, err := r.store.Mouthpiece(r.ctx, row.Mouthpiece)
		if err != nil {
			return s, err
		}
		s.Own, s.NowMouthpiece = &m, &m
	}
	if err := r.now(&s, row); err != nil {
		return s, err
	}
	if err := r.must(&s, row); err != nil {
		return s, err
	}
	if row.Part != "" {
		if err := r.weigh(&s, row); err != nil {
			return s, err
		}
	}
	s.Criteria.Low, s.Criteria.High = cmp.Or(row.RangeLow, s.Criteria.Low), cmp.Or(row.RangeHigh, s.Criteria.High)
	return s, nil
}

// player finds a student among the players.
func (r *classReader) player(handle string) (catalog.Player, error) {
	var have []string
	for _, p := range r.players {
		if p.Label == handle || catalog.Fold(p.Label) == catalog.Fold(handle) {
			return p, nil
		}
		have = append(have, p.Label)
	}
	err := catalog.Missing("player", handle, have)
	err.Hint += "; add a new one with: centwise player add " + catalog.ShellWord(handle)
	return catalog.Player{}, err
}

// now puts in what a student plays now.
func (r *classReader) now(s *match.Student, row sheet.ClassRow) error {
	if row.Horn != "" {
		h, err := r.store.Horn(r.ctx, row.Horn)
		if err != nil {
			return err
		}
		s.NowHorn = &h
	}
	if row.LentMouthpiece != "" {
		m, err := r.store.Mouthpiece(r.ctx, row.LentMouthpiece)
		if err != nil {
			return err
		}
		s.NowMouthpiece = &m
	}
	return nil
}

// must puts in what a student must have and must not have.
func (r *classReader) must(s *match.Student, row sheet.ClassRow) error {
	switch {
	case row.KeepNow && s.NowHorn == nil:
		return catalog.Errorf(catalog.Invalid, "name it in the column horn", "%s is to keep a horn, and plays none now", s.Player.Label)
	case row.KeepNow:
		s.Only = s.NowHorn.ID
	case row.Keep != "":
		h, err := r.store.Horn(r.ctx, row.Keep)
		if err != nil {
			return err
		}
		s.Only = h.ID
	}
	for _, label := range row.Never {
		h, err := r.store.Horn(r.ctx, label)
		if err != nil {
			return err
		}
		s.Never = append(s.Never, h.ID)
	}
	return nil
}

// weigh lets the notes of the part count that a student plays. The file is
// looked for beside the class list.
func (r *classReader) weigh(s *match.Student, row sheet.ClassRow) error {
	path := row.Part
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(row.File), path)
	}
	key := path + "\x00" + row.PartName
	c, known := r.parts[key]
	if !known {
		part := weighedPart{file: path, name: row.PartName}
		weights, from, err := part.weights()
		if err != nil {
			return err
		}
		c = match.Criteria{Weights: weights, WeightsFrom: from}
		r.parts[key] = c
		for _, text := range part.remarks {
			r.list.remarks = append(r.list.remarks, filepath.Base(path)+": "+text)
		}
	}
	s.Criteria.Weights, s.Criteria.WeightsFrom, s.Criteria.Register = c.Weights, c.WeightsFrom, ""
	return nil
}
