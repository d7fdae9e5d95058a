package sheet_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/importers/sheet"
)

func open(t testing.TB) catalog.Store {
	t.Helper()
	s, err := sqlstore.Open(context.Background(), filepath.Join(t.TempDir(), "lantern-bay.db"), sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func info(t testing.TB, s catalog.Store) catalog.Info {
	t.Helper()
	i, err := s.Info(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// files opens sheets of the project's test data.
func files(t testing.TB, names ...string) (out []sheet.File) {
	t.Helper()
	for _, name := range names {
		f, err := os.Open(filepath.Join("..", "..", "testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		out = append(out, sheet.File{Name: filepath.Base(name), Content: f})
	}
	return out
}

// Sheets of every form go into a catalog, out of it, and into another one, which
// then holds the same.
func TestStoreRoundTrip(t *testing.T) {
	ctx := context.Background()
	first := open(t)
	report, err := sheet.Import(ctx, first, files(t, "sheets/visits-long.csv", "sheets/visits-wide.csv", "sheets/gear.csv", "recorded/recorded-notes.csv"),
		sheet.Options{Create: true, IgnoreExtra: true, Contributor: "lamp-keeper"})
	if err != nil {
		t.Fatal(err)
	}
	got := info(t, first)
	if got.Sessions != report.Sessions || got.Readings != report.Readings || got.Horns != len(report.Horns) || got.Sessions != 6 {
		t.Fatalf("the catalog holds %+v, the report says %+v", got, *report)
	}
	var gear, sessions bytes.Buffer
	if err := sheet.ExportGear(ctx, first, &gear); err != nil {
		t.Fatal(err)
	}
	if err := sheet.ExportSessions(ctx, first, &sessions); err != nil {
		t.Fatal(err)
	}
	second := open(t)
	for range 2 { // the second time changes nothing
		_, err := sheet.Import(ctx, second, []sheet.File{{Name: "sessions.csv", Content: bytes.NewReader(sessions.Bytes())},
			{Name: "gear.csv", Content: bytes.NewReader(gear.Bytes())}}, sheet.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if again := info(t, second); again.Digest != got.Digest {
			t.Fatalf("the second catalog holds %+v, the first %+v", again, got)
		}
	}
}

// A mistake, or a dry run, leaves the catalog as it was.
func TestStoreUnchanged(t *testing.T) {
	ctx := context.Background()
	s := open(t)
	if _, err := sheet.Import(ctx, s, files(t, "sheets/gear.csv"), sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	before := info(t, s)
	bad := sheet.File{Name: "bad.csv", Content: strings.NewReader("session,player,horn,mouthpiece,note,cents\na,reed-otter,Alder,Plover 16.2,C4,1\nb,reed-otter,Alder,Plover 16.2,C4,999\n")}
	_, err := sheet.Import(ctx, s, []sheet.File{bad}, sheet.Options{})
	if catalog.KindOf(err) != catalog.Invalid || !strings.HasPrefix(fmt.Sprint(err), `bad.csv:3: cents "999" is outside`) {
		t.Errorf("error %v", err)
	}
	report, err := sheet.Import(ctx, s, files(t, "sheets/visits-long.csv"), sheet.Options{DryRun: true})
	if err != nil || report.Sessions != 2 {
		t.Errorf("dry run: %+v, %v", report, err)
	}
	if after := info(t, s); after.Digest != before.Digest {
		t.Errorf("the catalog holds %+v, held %+v", after, before)
	}
}

// Gear that is retired may still be named by sessions of its time, and a
// retracted session gives its name up.
func TestStoreHistory(t *testing.T) {
	ctx := context.Background()
	s := open(t)
	load := func(content string, o sheet.Options) error {
		_, err := sheet.Import(ctx, s, []sheet.File{{Name: "sheet.csv", Content: strings.NewReader(content)}}, o)
		return err
	}
	if err := load("kind,label,retired\nhorn,Alder,yes\nmouthpiece,Plover 16.2,\nplayer,reed-otter,\n", sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	const visit = "session,player,horn,mouthpiece,note,cents\na,reed-otter,Alder,Plover 16.2,C4,1\n"
	if err := load(visit, sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	corrected := strings.Replace(visit, "C4,1", "C4,2", 1)
	if err := load(corrected, sheet.Options{}); err == nil || !strings.Contains(err.Error(), "centwise session retract a") {
		t.Fatalf("error %v", err)
	}
	old, err := s.Session(ctx, "a")
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Apply(ctx, catalog.Changes{Retractions: []catalog.RetractionOf{{Session: old.ID, Retraction: catalog.Retraction{Reason: "misread"}}}}); err != nil {
		t.Fatal(err)
	}
	if err := load(corrected, sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	if err := load("kind,label,retired\nhorn,Alder,no\n", sheet.Options{Update: true, Contributor: "lamp-keeper"}); err != nil {
		t.Fatal(err)
	}
	h, err := s.Horn(ctx, "Alder")
	if err != nil || h.Retired || h.Number != 2 || h.Contributor != "lamp-keeper" {
		t.Errorf("horn %+v, %v", h, err)
	}
}

func BenchmarkImportIntoStore(b *testing.B) {
	const n = 100_000
	var content strings.Builder
	content.WriteString("session,player,horn,mouthpiece,note,cents\n")
	notes := strings.Fields("F#3 G3 Ab3 A3 Bb3 B3 C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4 C5 C#5 D5 Eb5 E5 F5 F#5 G5 Ab5 A5 Bb5 B5")
	for i := range n {
		session := i / 60
		fmt.Fprintf(&content, "visit %d,player-%d,Horn %d,Mouthpiece %d,%s,%g\n", session, session%41, session%30, session%40, notes[i%len(notes)], float64(i%601-300)/10)
	}
	for b.Loop() {
		b.StopTimer()
		s := open(b)
		b.StartTimer()
		if _, err := sheet.Import(context.Background(), s, []sheet.File{{Name: "sheet.csv", Content: strings.NewReader(content.String())}}, sheet.Options{Create: true}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func ExamplePlan() {
	visits := `session;player;horn;mouthpiece;note;cents
tuesday;reed-otter;Alder;Plover 16.2;C4;-3,5
tuesday;reed-otter;Alder;Plover 16.2;D4;14
`
	changes, report, err := sheet.Plan(context.Background(), sheet.Holdings{}, []sheet.File{{Name: "visits.csv", Content: strings.NewReader(visits)}}, sheet.Options{Create: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(report.Sessions, "session,", report.Readings, "readings, new:", report.Horns, report.Mouthpieces, report.Players)
	for _, r := range changes.Sessions[0].Readings {
		fmt.Printf("%s (%s): %+g cents\n", r.Slot.Note(), r.Slot, r.Cents)
	}
	// Output:
	// 1 session, 2 readings, new: [Alder] [Plover 16.2] [reed-otter]
	// C4 (0/2): -3.5 cents
	// D4 (13/3): +14 cents
}

func ExampleProblems() {
	visits := `session,player,horn,mouthpiece,note,cents
tuesday,reed-otter,Alder,Plover 16.2,C3,-3.5
tuesday,reed-otter,Alder,Plover 16.2,D4,3,5
`
	_, _, err := sheet.Plan(context.Background(), sheet.Holdings{}, []sheet.File{{Name: "visits.csv", Content: strings.NewReader(visits)}}, sheet.Options{Create: true})
	fmt.Println(err)
	// Output:
	// 2 problems, nothing was written
	//   visits.csv:2: note "C3" is off the instrument with 3 valves (three valves give F#3 to G6 and four C#3 to G6; for a pedal note or another slot name fingering and partial)
	//   visits.csv:3: has 7 cells where the header has 6 (a decimal comma, as in 3,5, splits a number in two: write a decimal point, or separate the columns by semicolons)
}
