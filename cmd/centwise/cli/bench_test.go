package cli

import (
	"context"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"centwise/catalog/pitch"
)

// bench runs whole command lines in this process on a catalog of 30 horns and
// 40 mouthpieces.
type bench struct {
	*testing.B
	catalog string
}

func newBench(b *testing.B) *bench {
	return &bench{b, filepath.Join(b.TempDir(), "catalog.db")}
}

func (b *bench) run(args ...string) {
	b.Helper()
	s, _, errOut := Test("")
	if code := Run(context.Background(), NewFactory(s), append(args, "--catalog", b.catalog)); code != exitOK {
		b.Fatalf("%v ended with %d: %s", args, code, errOut)
	}
}

// sheet writes a session sheet of about n readings, 40 to a session: cents are
// sums of what horn, mouthpiece and player do to each note, and noise.
func (b *bench) sheet(n int) string {
	const horns, mouthpieces, players, notes = 30, 40, 20, 40
	random := rand.New(rand.NewPCG(30, 40))
	nature := func(count int, sd float64) [][notes]float64 {
		out := make([][notes]float64, count)
		for i := range out {
			for j := range out[i] {
				out[i][j] = sd * random.NormFloat64()
			}
		}
		return out
	}
	horn, mouthpiece, player := nature(horns, 6), nature(mouthpieces, 3), nature(players, 4)
	slots := append(pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3), pitch.UsualSlots(pitch.RangeHigh+1, pitch.TopUsual, 3)...)
	path := filepath.Join(b.TempDir(), "sessions.csv")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	out := csv.NewWriter(f)
	out.Write([]string{"session", "contributor", "player", "horn", "mouthpiece", "fingering", "partial", "repeat", "cents"})
	for s := range n / notes {
		h, m, p := s%horns, random.IntN(mouthpieces), random.IntN(players)
		for j := range notes {
			slot := slots[j%len(slots)]
			cents := horn[h][j%len(slots)] + mouthpiece[m][j%len(slots)] + player[p][j%len(slots)] + 4*random.NormFloat64()
			out.Write([]string{fmt.Sprintf("visit-%d", s), "lamp-keeper", fmt.Sprintf("player-%02d", p), fmt.Sprintf("Horn %02d", h), fmt.Sprintf("Mouthpiece %02d", m),
				slot.Valves.String(), strconv.Itoa(slot.Partial), strconv.Itoa(1 + j/len(slots)), strconv.FormatFloat(cents, 'f', 1, 64)})
		}
	}
	out.Flush()
	if err := f.Close(); err != nil || out.Error() != nil {
		b.Fatal(err, out.Error())
	}
	return path
}

// BenchmarkImport imports 100,000 readings into a new catalog.
func BenchmarkImport100000(b *testing.B) {
	w := newBench(b)
	path := w.sheet(100_000)
	for b.Loop() {
		w.catalog = filepath.Join(b.TempDir(), "catalog.db")
		w.run("import", path, "--create")
	}
}

// Fits of 30 x 40 items: what a shop may have measured, and 100,000 readings.
func BenchmarkFit30x40(b *testing.B) {
	for _, n := range []int{12_000, 100_000} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			w := newBench(b)
			w.run("import", w.sheet(n), "--create")
			for b.Loop() {
				w.run("fit", "--again")
			}
		})
	}
}

// Questions to a catalog whose fit is stored.
func BenchmarkAsk30x40(b *testing.B) {
	w := newBench(b)
	w.run("import", w.sheet(12_000), "--create")
	w.run("fit")
	for _, tc := range []struct {
		name string
		args []string
	}{
		{"horn", []string{"rank", "--horn", "Horn 03"}}, {"mouthpiece", []string{"rank", "--mouthpiece", "Mouthpiece 03"}},
		{"pairs", []string{"rank"}}, {"each horn", []string{"rank", "--each-horn"}}, {"predict", []string{"predict", "Horn 03", "Mouthpiece 03"}},
	} {
		b.Run(tc.name, func(b *testing.B) {
			for b.Loop() {
				w.run(tc.args...)
			}
		})
	}
}
