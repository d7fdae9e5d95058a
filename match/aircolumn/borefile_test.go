package aircolumn

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
)

func TestReadBore(t *testing.T) {
	want := Bore{{Mouthpiece, 10, 16.5, 3.7}, {Mouthpiece, 78, 3.7, 8.9}, {Leadpipe, 3, 9.8, 9.8}, {Leadpipe, 235, 8.7, 11.7}, {Tube, 600, 11.7, 11.7}, {Bell, 40, 11.7, 60}}
	for name, text := range map[string]string{
		"commas": "x_mm,diameter_mm,part\n0,16.5,mouthpiece\n10,3.7,mouthpiece\n88,8.9,mouthpiece\n88,9.8,leadpipe\n91,9.8,leadpipe\n91,8.7,leadpipe\n326,11.7,leadpipe\n926,11.7,tube\n966,60,bell\n",
		"semicolons, decimal commas, other order, Windows line ends and a byte order mark": "\ufeffPart;X_mm;Diameter_mm\r\nmouthpiece;0;16,5\r\nMouthpiece;10;3,7\r\nmouthpiece;88;8,9\r\nleadpipe;88;9,8\r\nleadpipe;91;9,8\r\nleadpipe;91;8,7\r\nleadpipe;326;11,7\r\ntube;926;11,7\r\n\r\nbell;966;60",
		"tabs, x from another place": "x_mm\tdiameter_mm\tpart\n-5\t16.5\tmouthpiece\n5\t3.7\tmouthpiece\n83\t8.9\tmouthpiece\n83\t9.8\tleadpipe\n86\t9.8\tleadpipe\n86\t8.7\tleadpipe\n321\t11.7\tleadpipe\n921\t11.7\ttube\n961\t60\tbell\n",
	} {
		got, err := ReadBore(strings.NewReader(text))
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
}

// Every problem is told with its line, all at once.
func TestBoreIsRefused(t *testing.T) {
	const head = "x_mm,diameter_mm,part\n"
	for _, tc := range []struct{ name, text, want string }{
		{"empty", "", "line 1: the file is empty"},
		{"no header", "0,16,mouthpiece\n", `line 1: the first row names a column "0"`},
		{"near column", "x_mm,diameter,part\n", "did you mean diameter_mm?"},
		{"column twice", "x_mm,x_mm,diameter_mm,part\n", "names the column x_mm twice"},
		{"no length", head + "0,16,mouthpiece\n", "describes no length of bore"},
		{"only a step", head + "0,16,mouthpiece\n0,12,mouthpiece\n", "describes no length of bore"},
		{"not a number", head + "0,16,mouthpiece\n5,wide,mouthpiece\n", `line 3: diameter_mm is "wide"`},
		{"infinite", head + "0,16,mouthpiece\n5,Inf,mouthpiece\n", `line 3: diameter_mm is "Inf"`},
		{"not a number by name", head + "NaN,16,mouthpiece\n", `line 2: x_mm is "NaN"`},
		{"metres", head + "0,0.0165,mouthpiece\n", "line 2: diameter_mm is 0.0165 mm, outside 0.5"},
		{"unknown part", head + "0,16,cup\n", `line 2: part is "cup"`},
		{"backwards", head + "5,16,bell\n0,17,bell\n", "line 3: x_mm is 0 mm, before 5 mm"},
		{"third at one x", head + "0,16,bell\n9,17,bell\n9,18,bell\n9,19,bell\n", "line 5: x_mm is 9 mm for the third time"},
		{"short row", head + "0,16\n", "line 2: part is missing"},
		{"quotes", head + "0,\"16,bell\n", "line 2: the row can't be read"},
		{"all at once", head + "0,x,bell\n\n1,y,bell\n", `line 4: diameter_mm is "y"`},
		{"too short", head + "0,16,bell\n1,17,bell\n", "the bore is 1 mm long"},
		{"too long", head + strings.Repeat(" ", maxBoreFile), "longer than"},
		{"too many points", head + manyPoints(maxPieces+5), "one too many"},
	} {
		_, err := ReadBore(strings.NewReader(tc.text))
		if err == nil || !strings.Contains(err.Error(), tc.want) || catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%s: %v, expected %q", tc.name, err, tc.want)
		}
	}
}

func manyPoints(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(number(float64(i)/100) + ",12,tube\n")
	}
	return b.String()
}

func drawBore(t *rapid.T) Bore {
	var b Bore
	diameter := rapid.Float64Range(1, 120)
	for range rapid.IntRange(1, 12).Draw(t, "pieces") {
		b = append(b, Piece{
			rapid.SampledFrom(Parts).Draw(t, "part"), rapid.Float64Range(10, 400).Draw(t, "length"),
			diameter.Draw(t, "start"), diameter.Draw(t, "end"),
		})
	}
	return b
}

// What is written is read again, to the hundredth of a micrometre that is
// written. A step's first row belongs to the piece before.
func TestBoreRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawBore(t)
		var file bytes.Buffer
		if err := want.WriteCSV(&file); err != nil {
			t.Fatal(err)
		}
		got, err := ReadBore(&file)
		if err != nil || len(got) != len(want) {
			t.Fatalf("%v, %v", got, err)
		}
		for i, p := range got {
			q := want[i]
			if p.Part != q.Part || math.Abs(p.LengthMM-q.LengthMM) > 2e-5 || math.Abs(p.StartMM-q.StartMM) > 1e-5 || math.Abs(p.EndMM-q.EndMM) > 1e-5 {
				t.Fatalf("piece %d is %v, was %v", i, p, q)
			}
		}
	})
}

// Cutting a bore changes neither its length nor its volume.
func TestSplitKeepsTheWalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBore(t)
		cut := b.split(rapid.Float64Range(5, 300).Draw(t, "every"))
		if math.Abs(cut.LengthMM()-b.LengthMM()) > 1e-6 {
			t.Fatalf("%g mm long, was %g", cut.LengthMM(), b.LengthMM())
		}
		for _, part := range Parts {
			if a, b := cut.VolumeCM3(part), b.VolumeCM3(part); math.Abs(a-b) > 1e-6*(1+b) {
				t.Fatalf("%s has %g cm3, had %g", part, a, b)
			}
		}
	})
}

// FuzzReadBore: no panic; what is accepted can be modelled and survives being
// written and read.
func FuzzReadBore(f *testing.F) {
	for _, seed := range []string{
		"x_mm,diameter_mm,part\n0,16.5,mouthpiece\n10,3.7,mouthpiece\n88,8.9,mouthpiece\n88,9.8,leadpipe\n326,11.7,leadpipe\n926,11.7,tube\n966,60,bell\n",
		"part;x_mm;diameter_mm\ntube;0;11,66\ntube;1480;11,66\n", "x_mm\tdiameter_mm\tpart\n-5\t1e1\tbell\n\"9\"\t12\tbell\n", "\ufeff", "x_mm,diameter_mm,part\n0,\"", "a,b\n1,2,3,4\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		bore, err := ReadBore(bytes.NewReader(text))
		if err != nil {
			if err.Error() == "" || catalog.KindOf(err) != catalog.Invalid {
				t.Fatalf("error %v", err)
			}
			return
		}
		if _, err := New(Instrument{Bore: bore}, dryAir(20)); err != nil {
			t.Fatalf("accepted, but %v", err)
		}
		var file bytes.Buffer
		if err := bore.WriteCSV(&file); err != nil {
			t.Fatal(err)
		}
		// Pieces below what is written may join, so only the whole is compared.
		again, err := ReadBore(&file)
		if err != nil {
			t.Fatalf("%v in what was written", err)
		}
		if math.Abs(again.LengthMM()-bore.LengthMM()) > 1e-4 {
			t.Fatalf("%g mm, was %g", again.LengthMM(), bore.LengthMM())
		}
	})
}
