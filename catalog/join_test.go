package catalog

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

var joinTimes = []time.Time{time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC), time.Date(2026, 3, 14, 12, 0, 1, 0, time.UTC)}

// drawnSession draws accounts of one session that differ in what accounts can
// differ in, and, as forgeries do, in what they can't.
func drawnSession(t *rapid.T, name string) Shared[Session] {
	s := Shared[Session]{Record: Session{
		ID: "01M8A3AEZXPEW8AF4KN28P8T1Q", Name: rapid.SampledFrom([]string{"mon", "tue"}).Draw(t, name+" name"),
		Horn: "01M8A3AEZXPEW8AF4KN28P8T1R", Mouthpiece: "01M8A3AEZXPEW8AF4KN28P8T1S", Player: "01M8A3AEZXPEW8AF4KN28P8T1T",
		Remark: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, name+" remark"), Recorded: joinTimes[0], A4Hz: 440, Method: MethodTuner,
		Readings: []Reading{{Slot: pitch.Slot{Partial: 2}, Repeat: 1, Cents: float64(rapid.IntRange(0, 5).Draw(t, name+" cents") / 5)}},
	}}
	soft := []string{"contributor", "name", "remark", "tomorrow"}
	if rapid.Bool().Draw(t, name+" retracted") {
		s.Record.Retraction = &Retraction{At: rapid.SampledFrom(joinTimes).Draw(t, name+" at"), Reason: rapid.SampledFrom([]string{"", "r"}).Draw(t, name+" reason"),
			ReplacedBy: rapid.SampledFrom([]ID{"", "01M8A3AEZXPEW8AF4KN28P8T1V"}).Draw(t, name+" by")}
		soft = append(soft, "retraction_reason")
	}
	if x := rapid.SampledFrom([]string{"", "1", "2"}).Draw(t, name+" extra"); x != "" {
		s.Extra = Extra{"tomorrow": x}
	}
	for _, f := range soft {
		if rapid.IntRange(0, 2).Draw(t, name+" hides "+f) == 0 {
			s.Withheld = append(s.Withheld, f)
		}
	}
	slices.Sort(s.Withheld)
	return s
}

func drawnPlayer(t *rapid.T, name string) Shared[Player] {
	p := Shared[Player]{Record: Player{ID: "01M8A3AEZXPEW8AF4KN28P8T1Q",
		Revision: Revision{Number: 1, At: rapid.SampledFrom(joinTimes).Draw(t, name+" at"), Retired: rapid.Bool().Draw(t, name+" retired")},
		Label:    rapid.SampledFrom([]string{"reed-otter", "blue-kite"}).Draw(t, name+" label"),
		Level:    rapid.SampledFrom([]string{"", "first year"}).Draw(t, name+" level"),
		RangeLow: rapid.SampledFrom([]pitch.Note{0, 60}).Draw(t, name+" low")}}
	for _, f := range []string{"label", "level", "range_low"} {
		if rapid.IntRange(0, 2).Draw(t, name+" hides "+f) == 0 {
			p.Withheld = append(p.Withheld, f)
		}
	}
	return p
}

func encoded(t interface{ Fatal(...any) }, p Pooled) string {
	b, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// laws checks that joining is commutative, associative and idempotent, and that
// what was joined is part of the result: joining it once more changes nothing.
func laws[T any](t *rapid.T, draw func(*rapid.T, string) Shared[T], join func(a, b Shared[T]) Shared[T], pooled func(*Shared[T]) Pooled) {
	a, b, c := draw(t, "a"), draw(t, "b"), draw(t, "c")
	text := func(s Shared[T]) string { return encoded(t, pooled(&s)) }
	ab := join(a, b)
	for _, law := range []struct{ name, got, want string }{
		{"a+b = b+a", text(join(b, a)), text(ab)},
		{"(a+b)+c = a+(b+c)", text(join(ab, c)), text(join(a, join(b, c)))},
		{"a+a = a", text(join(a, a)), text(a)},
		{"(a+b)+b = a+b", text(join(ab, b)), text(ab)},
	} {
		if law.got != law.want {
			t.Fatalf("%s\n%s\n%s", law.name, law.got, law.want)
		}
	}
}

func TestJoiningSessions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		laws(t, drawnSession, JoinSessions, func(s *Shared[Session]) Pooled { return Pooled{Session: s} })
	})
}

func TestJoiningPlayers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		laws(t, drawnPlayer, JoinPlayers, func(s *Shared[Player]) Pooled { return Pooled{Player: s} })
	})
}

// What wins when accounts differ.
func TestJoinDecides(t *testing.T) {
	horn := func(at time.Time, bore float64, owner string, withheld ...string) Shared[Horn] {
		return Shared[Horn]{Record: Horn{ID: "01M8A3AEZXPEW8AF4KN28P8T1Q", Revision: Revision{Number: 2, At: at}, Label: "Alder", BoreMM: bore, Owner: owner}, Withheld: withheld}
	}
	// The later revision wins whole, though its content sorts before.
	for _, bore := range []float64{11, 12} {
		late := horn(joinTimes[1], bore, "")
		if got := JoinHorns(horn(joinTimes[0], 23-bore, "the school"), late); got.Record.BoreMM != bore || got.Record.Owner != "" {
			t.Errorf("the earlier one won: %+v", got)
		}
	}
	if got := JoinHorns(horn(joinTimes[0], 11, "", "owner"), horn(joinTimes[0], 11, "the school")); got.Record.Owner != "the school" || got.Withheld != nil {
		t.Errorf("a stated owner does not beat a withheld one: %+v", got)
	}
	if got := JoinHorns(horn(joinTimes[0], 11, ""), horn(joinTimes[0], 11, "somebody", "owner")); got.Record.Owner != "" || got.Withheld != nil {
		t.Errorf("that there is no owner does not beat a pseudonym: %+v", got)
	}
	session := func(r *Retraction) Shared[Session] {
		return Shared[Session]{Record: Session{Name: "mon", Retraction: r}}
	}
	first, second := &Retraction{At: joinTimes[0], Reason: "a"}, &Retraction{At: joinTimes[1], Reason: "z"}
	for _, order := range [][]*Retraction{{nil, first}, {first, nil}, {first, second}, {second, first}} {
		if got := JoinSessions(session(order[0]), session(order[1])); got.Record.Retraction == nil || *got.Record.Retraction != *first {
			t.Errorf("%v: %+v", order, got.Record.Retraction)
		}
	}
}

// Fields and kinds that are not known come back as they were.
func TestUnknownFieldsArePassedOn(t *testing.T) {
	body := `{"id":"01M8A3AEZXPEW8AF4KN28P8T1Q","revision":1,"revised":"2026-03-14T12:00:00Z","label":"Alder","instrument":"trumpet","key":"Bb","valves":3,"receiver":"trumpet",` +
		`"lacquer":{"colour":"<gold>","coats":[1, 2.50]},"weight_g":1e3}`
	p, err := DecodePooled(PooledHorn, []byte(body))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := encoded(t, p), strings.Replace(body, "1, 2.50", "1,2.50", 1); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	other, err := DecodePooled("valve oil", []byte(` {"id": 7} `))
	if err != nil || encoded(t, other) != `{"id":7}` || other.Kind() != "valve oil" {
		t.Errorf("%+v, error %v", other.Other, err)
	}
	read, err := ParseExtra(p.Horn.Extra.String())
	if err != nil || fmt.Sprint(read) != fmt.Sprint(p.Horn.Extra) {
		t.Errorf("%v, error %v", read, err)
	}
	next := NextHorn(*p.Horn, p.Horn.Record)
	if next.Extra.String() != p.Horn.Extra.String() {
		t.Error("an edit loses what a newer version said")
	}
}

// Records that share a label are told apart by who they are alone.
func TestDistinct(t *testing.T) {
	a, b, c := ID("01M8A3AEZXPEW8AF4KN280000A"), ID("01M8A3AEZXPEW8AF4KN280000B"), ID("01M8A3AEZXPEW8AF4KN280000C")
	records := []Stated{{b, "Alder"}, {c, "Alder (0000B)"}, {a, "Alder"}}
	taken := func(label string) (bool, error) { return label == "Alder" || label == "Alder (0000B)", nil }
	want := map[ID]string{a: "Alder", b: "Alder (" + string(b) + ")", c: "Alder (0000B)"}
	for range 3 {
		records = append(records[1:], records[0])
		got, err := Distinct(records, taken)
		if err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("got %v, error %v", got, err)
		}
	}
	long := strings.Repeat("é", MaxLabelLength)
	got, err := Distinct([]Stated{{a, long}, {b, long}}, func(label string) (bool, error) { return label == long, nil })
	if err != nil || len([]rune(got[b])) != MaxLabelLength || !strings.HasSuffix(got[b], " (0000B)") {
		t.Errorf("%q, error %v", got[b], err)
	}
}
