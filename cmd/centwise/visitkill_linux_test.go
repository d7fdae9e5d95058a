package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"centwise/catalog/sqlstore"
)

// Killed after each reading of a visit: what the next question acknowledged is
// there, reading by reading, and the visit goes on at the next note.
func TestVisitRecordKilledAtEveryReading(t *testing.T) {
	k := &killing{t: t, folder: t.TempDir()}
	data, err := filepath.Abs("../../testdata/band")
	if err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"import", filepath.Join(data, "gear.csv"), filepath.Join(data, "sessions.csv"), "--create"},
		{"visit", "plan", "--player", "reed-otter", "--horn", "Alder", "--list", "cupboard", "--name", "second", "--any-size", "--notes", "5", "--tries", "1"},
	} {
		cmd := exec.Command("centwise", args...)
		cmd.Env = []string{"HOME=" + k.folder, "PATH=" + os.Getenv("PATH"), "CENTWISE_CATALOG=" + k.path()}
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	var want [][]float64
	for _, typed := range []struct {
		line  string
		cents []float64
	}{{"-3 -4", []float64{-3, -4}}, {"2,5", []float64{2.5}}, {"7 7", []float64{7, 7}}, {"1", []float64{1}}} {
		p := k.sits("visit", "record", "second", "--accessible")
		for _, line := range []string{"", typed.line} { // first, which try it is: the one proposed
			before, err := p.types(line)
			if err != nil {
				t.Fatal(err)
			}
			if asks, err := p.asked(before); err != nil || !asks {
				t.Fatalf("after %q (%v): %s", line, err, p.shown())
			}
		}
		p.kill()
		want = append(want, typed.cents)
		if got := k.visitReadings("second"); !slices.EqualFunc(got, want, slices.Equal) {
			t.Fatalf("after %q the visit has %v, want %v", typed.line, got, want)
		}
	}
}

// visitReadings are those of a visit, line by line, in a catalog that is sound.
func (k *killing) visitReadings(name string) (out [][]float64) {
	k.t.Helper()
	ctx := context.Background()
	s, err := sqlstore.Open(ctx, k.path(), sqlstore.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	defer s.Close()
	v, err := s.Visit(ctx, name)
	if err != nil {
		k.t.Fatal(err)
	}
	for _, l := range v.Lines {
		out = append(out, l.Cents)
	}
	if findings, err := s.Integrity(ctx); err != nil || len(findings) > 0 {
		k.t.Fatalf("findings %v, error %v", findings, err)
	}
	return out
}
