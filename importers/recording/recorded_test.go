package recording

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"centwise/catalog/pitch"
)

// Eleven sustained notes of a trumpet: npm package tonejs-instrument-trumpet-wav
// 1.1.0, samples CC-BY 3.0 (its README).
const (
	soundsAddress = "https://registry.npmjs.org/tonejs-instrument-trumpet-wav/-/tonejs-instrument-trumpet-wav-1.1.0.tgz"
	soundsSHA256  = "c58949e1eb62ae78e984b2fc233b62f164a289e7c4c68de376d0e59154c41191"
)

// needVariable decides what happens when they can't be fetched: if it is set the
// test fails, as in CI, else it is skipped.
const needVariable = "CENTWISE_NEEDS_RECORDINGS"

// sounds gives the recordings by name, from the network or from the cache of the
// last time.
func sounds(t *testing.T) map[string][]byte {
	archive, err := fetch()
	if err != nil && os.Getenv(needVariable) == "" {
		t.Skipf("the recordings could not be fetched (set %s to fail instead): %v", needVariable, err)
	}
	if err != nil {
		t.Fatal(err)
	}
	zipped, err := gzip.NewReader(bytes.NewReader(archive))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for files := tar.NewReader(zipped); ; {
		head, err := files.Next()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		if name := path.Base(head.Name); strings.HasSuffix(name, ".wav") {
			if out[name], err = io.ReadAll(files); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func fetch() ([]byte, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir()
	}
	kept := filepath.Join(cache, "centwise-test", path.Base(soundsAddress))
	if archive, err := os.ReadFile(kept); err == nil && genuine(archive) == nil {
		return archive, nil
	}
	client := http.Client{Timeout: time.Minute}
	answer, err := client.Get(soundsAddress)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("%s: %s", soundsAddress, answer.Status)
	}
	archive, err := io.ReadAll(io.LimitReader(answer.Body, 20<<20))
	if err != nil {
		return nil, err
	}
	if err := genuine(archive); err != nil {
		return nil, err
	}
	if os.MkdirAll(filepath.Dir(kept), 0o755) == nil {
		_ = os.WriteFile(kept, archive, 0o644) // without it the next time fetches again
	}
	return archive, nil
}

func genuine(archive []byte) error {
	if sum := sha256.Sum256(archive); hex.EncodeToString(sum[:]) != soundsSHA256 {
		return fmt.Errorf("the recordings have the checksum %x, not %s", sum, soundsSHA256)
	}
	return nil
}

// otherAnalyser is the pitch over time by praat 6.3.07, see the folder's README:
// by file, seconds and Hz.
func otherAnalyser(t *testing.T) map[string][]Contour {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "recorded", "sustained-pitch.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]Contour{}
	for _, row := range rows[1:] {
		second, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		hz, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		out[row[0]] = append(out[row[0]], Contour{second, hz})
	}
	return out
}

// Notes of the files; the package names some of them an octave too low
// ("As3" is B flat 4), so octaves are those that praat finds.
var recordedNotes = map[string]string{
	"A3.wav": "A3", "A5.wav": "A5", "As3.wav": "Bb4", "C3.wav": "C4", "C6.wav": "C6", "D5.wav": "D5",
	"Ds4.wav": "Eb4", "F3.wav": "F3", "F4.wav": "F4", "F5.wav": "F5", "G4.wav": "G4",
}

// Real notes, in a room, with vibrato: each file is heard as one note, and by two
// measures the median difference from praat is below 1 cent: praat's mean over
// our steady part, and its median over the middle half of the sound, whatever we
// take for steady.
func TestRecordedNotes(t *testing.T) {
	other := otherAnalyser(t)
	var same, middle []float64
	for file, content := range sounds(t) {
		r, err := Listen(context.Background(), bytes.NewReader(content), file, nil)
		if err != nil {
			t.Fatal(err)
		}
		kept := r.Kept()
		if len(kept) != 1 {
			t.Errorf("%s: %d notes, want 1:\n  %s", file, len(kept), describe(r))
			continue
		}
		heard := kept[0]
		if note, _ := pitch.Nearest(heard.Hz, 440); note.String() != recordedNotes[file] {
			t.Errorf("%s: heard as %s, want %s", file, note, recordedNotes[file])
		}
		track := other[file]
		mean := pitch.Cents(heard.Hz, taperedMean(track, heard))
		half := pitch.Cents(heard.Hz, middleMedian(track))
		t.Logf("%s: %s, %.3f Hz; from praat %+.2f cents in the same part, %+.2f in the middle half", file, heard.Grade, heard.Hz, mean, half)
		same, middle = append(same, math.Abs(mean)), append(middle, math.Abs(half))
	}
	if m := median(same); len(same) != 11 || m > 0.5 {
		t.Errorf("median difference from praat in the same part of %d notes: %.2f cents, want below 0.5 in 11", len(same), m)
	}
	if m := median(middle); m > 1 {
		t.Errorf("median difference from praat's median of the middle half: %.2f cents, want below 1", m)
	}
}

// taperedMean is the mean over the steady part of a tone, the middle counting most
// as it does in ours.
func taperedMean(track []Contour, t Tone) float64 {
	sum, weight := 0.0, 0.0
	for _, c := range track {
		if into := (c.Second - t.SteadyStart) / (t.SteadyEnd - t.SteadyStart); into > 0 && into < 1 {
			w := math.Pow(math.Sin(math.Pi*into), 2)
			sum, weight = sum+w*math.Log2(c.Hz), weight+w
		}
	}
	return math.Exp2(sum / weight)
}

func middleMedian(track []Contour) float64 {
	first, last := track[0].Second, track[len(track)-1].Second
	var list []float64
	for _, c := range track {
		if c.Second >= first+(last-first)/4 && c.Second <= last-(last-first)/4 {
			list = append(list, c.Hz)
		}
	}
	return median(list)
}
