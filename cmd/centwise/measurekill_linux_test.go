package main

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// script is a session of measuring, line by line, with what each line becomes
// in the draft; an empty one becomes nothing. Eight notes in two rounds.
var script = []struct{ typed, kept string }{
	{"-3", "-3"}, {"+4.5", "4.5"}, {"x", ""}, {"2 3", "2 3"}, {"skip", "skip"}, {"undo", "undo"}, {"1,5", "1.5"}, {"-80", "?-80"}, {"?", ""}, {"-2", "-2"},
	{"0", "0"}, {"4", "4"}, {"7", "7"}, {"-40", "?-40"}, {"undo", "undo"}, {"5", "5"}, {"5 6", "5 6"}, {"-60", "?-60"}, {"keep", "keep"}, {"9", "9"}, {"1", "1"}, {"", ""}, {"2", "2"}, {"3", "3"}, {"4", "4"},
}

// killing is a catalog on which centwise measures, to be killed again and again.
type killing struct {
	t      *testing.T
	folder string
	begin  []string // the command that begins the session
}

func newKilling(t *testing.T) *killing {
	k := &killing{t: t, folder: t.TempDir(), begin: []string{"measure", "--horn", "Alder", "--mouthpiece", "Plover 16.2", "--player", "reed-otter",
		"--range", "C4-G4", "--rounds", "2", "--order", "7", "--no-fit"}}
	s, err := sqlstore.Open(context.Background(), k.path(), sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Apply(context.Background(), catalog.Changes{Horns: []catalog.Horn{{Label: "Alder"}},
		Mouthpieces: []catalog.Mouthpiece{{Label: "Plover 16.2"}}, Players: []catalog.Player{{Label: "reed-otter"}}}); err != nil {
		t.Fatal(err)
	}
	return k
}

func (k *killing) path() string { return filepath.Join(k.folder, "catalog.db") }

// sits begins or resumes, and waits for the first question.
func (k *killing) sits(args ...string) *typist {
	k.t.Helper()
	cmd := exec.Command("centwise", args...)
	cmd.Env = []string{"HOME=" + k.folder, "PATH=" + os.Getenv("PATH"), "CENTWISE_CATALOG=" + k.path(), "TERM=dumb"}
	p, err := sitDown(100, cmd)
	if err != nil {
		k.t.Fatal(err)
	}
	if asks, err := p.asked(0); err != nil || !asks {
		k.t.Fatalf("nothing was asked (%v): %s", err, p.shown())
	}
	return p
}

// lines are those of the draft, without their notes.
func (k *killing) lines() []string {
	k.t.Helper()
	s, err := sqlstore.Open(context.Background(), k.path(), sqlstore.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	defer s.Close()
	drafts, err := s.Drafts(context.Background())
	if err != nil || len(drafts) != 1 {
		k.t.Fatalf("drafts %v, error %v", drafts, err)
	}
	d, err := s.Draft(context.Background(), string(drafts[0].ID))
	if err != nil {
		k.t.Fatal(err)
	}
	out := []string{}
	for _, l := range d.Lines {
		text := l.String()
		if _, rest, ok := strings.Cut(text, " "); ok {
			text = rest
		}
		out = append(out, text)
	}
	if findings, err := s.Integrity(context.Background()); err != nil || len(findings) > 0 {
		k.t.Fatalf("findings %v, error %v", findings, err)
	}
	return out
}

// finish records the session and gives its readings.
func (k *killing) finish() []catalog.Reading {
	k.t.Helper()
	p := k.sits("measure", "--resume", "--no-fit", "--name", "Monday")
	before, err := p.types("")
	if err != nil {
		k.t.Fatal(err)
	}
	if asks, err := p.asked(before); err != nil || asks {
		p.kill()
		k.t.Fatalf("it still asks (%v): %s", err, p.shown())
	}
	if code := p.leave(); code != 0 {
		k.t.Fatalf("ended with %d: %s", code, p.shown())
	}
	s, err := sqlstore.Open(context.Background(), k.path(), sqlstore.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	defer s.Close()
	session, err := s.Session(context.Background(), "Monday")
	if err != nil {
		k.t.Fatal(err)
	}
	return session.Readings
}

// Killed after every single line: what was acknowledged by the next question is
// there, line by line, and the session ends up as one that nobody killed.
func TestMeasureKilledAtEveryLine(t *testing.T) {
	whole := newKilling(t)
	p := whole.sits(whole.begin...)
	for _, line := range script {
		before, err := p.types(line.typed)
		if err != nil {
			t.Fatal(err)
		}
		if asks, err := p.asked(before); err != nil || !asks {
			t.Fatalf("after %q (%v): %s", line.typed, err, p.shown())
		}
	}
	p.kill()
	want := whole.finish()

	k := newKilling(t)
	kept := []string{}
	next := k.begin
	for i, line := range script {
		p := k.sits(next...)
		next = []string{"measure", "--resume"}
		before, err := p.types(line.typed)
		if err != nil {
			t.Fatal(err)
		}
		if asks, err := p.asked(before); err != nil || !asks {
			t.Fatalf("line %d, %q (%v): %s", i+1, line.typed, err, p.shown())
		}
		p.kill()
		if line.kept != "" {
			kept = append(kept, line.kept)
		}
		if got := k.lines(); !reflect.DeepEqual(got, kept) {
			t.Fatalf("after %q: the draft has %q, want %q", line.typed, got, kept)
		}
	}
	if got := k.finish(); !reflect.DeepEqual(got, want) || len(want) != 18 {
		t.Errorf("readings %v, want the %d of the session that nobody killed: %v", got, len(want), want)
	}
}

// Killed while a line is on its way: that line is there whole or not at all, and
// none before it is missing.
func TestMeasureKilledWhileTyping(t *testing.T) {
	k := newKilling(t)
	kept := []string{}
	next := k.begin
	lost := 0
	for i := range 12 {
		p := k.sits(next...)
		next = []string{"measure", "--resume"}
		line := fmt.Sprint(i % 5)
		if _, err := p.types(line); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(i) * 2 * time.Millisecond) // so that some get through
		p.kill()
		got := k.lines()
		if !reflect.DeepEqual(got, kept) && !reflect.DeepEqual(got, append(kept, line)) {
			t.Fatalf("after %q: the draft has %q, want %q with that line or without", line, got, kept)
		}
		lost += len(kept) + 1 - len(got)
		kept = got
	}
	t.Logf("%d of 12 lines came too late", lost)
}

// Ctrl-C is obeyed while another program holds the catalog: what can't be written
// down by then is left.
func TestStoppedWhileAnotherWrites(t *testing.T) {
	k := newKilling(t)
	p := k.sits(k.begin...)
	other, err := sql.Open("sqlite", "file:"+k.path()+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	held, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer held.Rollback()
	p.types("-3")
	time.Sleep(200 * time.Millisecond)
	p.types("^C")
	select {
	case <-p.ended:
	case <-time.After(20 * time.Second):
		p.kill()
		t.Fatalf("it goes on waiting after Ctrl-C: %s", p.shown())
	}
	if code := p.leave(); code != 130 || !strings.Contains(p.shown(), "measure --resume") {
		t.Errorf("ended with %d: %s", code, p.shown())
	}
	held.Rollback()
	if lines := k.lines(); len(lines) > 0 {
		t.Errorf("the draft has %q", lines)
	}
}
