package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
	"github.com/mewkiz/flac"
	flacframe "github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"centwise/catalog"
)

// flacOf writes channels as a FLAC file by the library's own encoder.
func flacOf(t testing.TB, rate, bits int, channels ...[]float64) []byte {
	t.Helper()
	const block = 4096
	var b bytes.Buffer
	n := len(channels[0])
	e, err := flac.NewEncoder(&b, &meta.StreamInfo{
		BlockSizeMin: 16, BlockSizeMax: block, SampleRate: uint32(rate), NChannels: uint8(len(channels)), BitsPerSample: uint8(bits), NSamples: uint64(n),
	})
	if err != nil {
		t.Fatal(err)
	}
	layout := map[int]flacframe.Channels{1: flacframe.ChannelsMono, 2: flacframe.ChannelsLR, 3: flacframe.ChannelsLRC}[len(channels)]
	for at := 0; at < n; at += block {
		m := min(block, n-at)
		f := &flacframe.Frame{Header: flacframe.Header{BlockSize: uint16(m), SampleRate: uint32(rate), Channels: layout, BitsPerSample: uint8(bits)}}
		for _, c := range channels {
			s := &flacframe.Subframe{SubHeader: flacframe.SubHeader{Pred: flacframe.PredVerbatim}, NSamples: m}
			for _, x := range c[at : at+m] {
				s.Samples = append(s.Samples, int32(math.Round(x*math.Exp2(float64(bits-1)))))
			}
			f.Subframes = append(f.Subframes, s)
		}
		if err := e.WriteFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

// samplesOf decodes a file in blocks of a size.
func samplesOf(t testing.TB, file io.Reader, block int) (left, right []float64, f Format) {
	t.Helper()
	d, err := open(file, "test")
	if err != nil {
		t.Fatal(err)
	}
	a, b := make([]float64, block), make([]float64, block)
	for {
		n, err := d.read(a, b)
		left = append(left, a[:n]...)
		if d.format().Channels == 2 {
			right = append(right, b[:n]...)
		}
		if errors.Is(err, io.EOF) {
			return left, right, d.format()
		}
		if err != nil || n == 0 {
			t.Fatalf("after %d samples: %d, %v", len(left), n, err)
		}
	}
}

// ramps are two different signals that use the whole range.
func ramps(n int) (a, b []float64) {
	for i := range n {
		a = append(a, 0.9*math.Sin(float64(i)/7))
		b = append(b, float64(i%200)/101-0.99)
	}
	return a, b
}

// Every way to write samples gives them back to within half of its last digit,
// in blocks of any size and from a reader that gives little at a time.
func TestSamplesComeBack(t *testing.T) {
	a, b := ramps(9001)
	for _, tc := range []struct {
		name      string
		file      []byte
		step      float64
		container string
		stereo    bool
	}{
		{"8 bits", wavOf(8000, 8, a), 1. / 128, "WAV", false},
		{"8 bits, two channels", wavOf(8000, 8, a, b), 1. / 128, "WAV", true},
		{"16 bits", wavOf(44100, 16, a, b), math.Exp2(-15), "WAV", true},
		{"24 bits", wavOf(96000, 24, a, b), math.Exp2(-23), "WAV", true},
		{"32 bits", wavOf(192000, 32, a), math.Exp2(-31), "WAV", false},
		{"float 32", wavOf(48000, 132, a, b), 1e-7, "WAV", true},
		{"float 64", wavOf(48000, 164, a), 1e-15, "WAV", false},
		{"FLAC, 16 bits", flacOf(t, 44100, 16, a, b), math.Exp2(-15), "FLAC", true},
		{"FLAC, 24 bits", flacOf(t, 96000, 24, a), math.Exp2(-23), "FLAC", false},
		{"extensible, 24 bits", extensible(wavOf(48000, 24, a, b), 1), math.Exp2(-23), "WAV", true},
		{"extensible float", extensible(wavOf(48000, 132, a), 3), 1e-7, "WAV", false},
		{"RF64", rf64(wavOf(48000, 16, a, b)), math.Exp2(-15), "WAV", true},
		{"length not filled in", patch(wavOf(48000, 16, a), 40, 0, 0, 0, 0), math.Exp2(-15), "WAV", false},
		{"length open", patch(wavOf(48000, 16, a), 40, 0xff, 0xff, 0xff, 0xff), math.Exp2(-15), "WAV", false},
		{"other chunks first", otherChunks(wavOf(48000, 16, a, b)), math.Exp2(-15), "WAV", true},
	} {
		for _, block := range []int{1, 480, 100000} {
			left, right, f := samplesOf(t, iotest.HalfReader(bytes.NewReader(tc.file)), block)
			if f.Container != tc.container || f.Channels == 2 != tc.stereo {
				t.Errorf("%s: %+v", tc.name, f)
			}
			near(t, tc.name, left, a, tc.step)
			if tc.stereo {
				near(t, tc.name, right, b, tc.step)
			}
		}
	}
}

func near(t *testing.T, what string, got, want []float64, step float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: %d samples, want %d", what, len(got), len(want))
		return
	}
	for i := range got {
		if math.Abs(got[i]-want[i]) > 0.5001*step {
			t.Errorf("%s: sample %d is %v, want %v", what, i, got[i], want[i])
			return
		}
	}
}

func patch(file []byte, at int, with ...byte) []byte {
	out := bytes.Clone(file)
	copy(out[at:], with)
	return out
}

// extensible writes the header over in its long form (WAVEFORMATEXTENSIBLE), with
// the format as the sub-format.
func extensible(file []byte, kind byte) []byte {
	head := patch(file[:36], 16, 40)
	head = patch(head, 20, 0xfe, 0xff)
	more := []byte{22, 0, file[34], 0, 3, 0, 0, 0, kind, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71}
	return append(append(head, more...), file[36:]...)
}

// rf64 writes the lengths over in 64 bits (EBU Tech 3306).
func rf64(file []byte) []byte {
	var sizes [36]byte
	copy(sizes[:], "ds64")
	sizes[4] = 28
	binary.LittleEndian.PutUint64(sizes[8:], uint64(len(file)))
	binary.LittleEndian.PutUint64(sizes[16:], uint64(len(file)-44))
	out := append([]byte("RF64\xff\xff\xff\xffWAVE"), sizes[:]...)
	return append(out, patch(file, 40, 0xff, 0xff, 0xff, 0xff)[12:]...)
}

// otherChunks puts chunks before the format, one of them of odd length, and one
// after the samples.
func otherChunks(file []byte) []byte {
	out := append(bytes.Clone(file[:12]), "LIST\x03\x00\x00\x00abc\x00"...)
	out = append(out, "bext\x02\x00\x00\x00xy"...)
	out = append(out, file[12:]...)
	return append(out, "LIST\x04\x00\x00\x00tail"...)
}

// What the library for WAV files writes is read as it says.
func TestFilesOfTheLibrary(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.wav")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	e := wav.NewEncoder(file, 44100, 24, 2, 1)
	if err := e.Write(&audio.IntBuffer{Format: &audio.Format{NumChannels: 2, SampleRate: 44100}, SourceBitDepth: 24, Data: []int{1 << 22, -1 << 23, 0, 1}}); err != nil {
		t.Fatal(err)
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	left, right, f := samplesOf(t, bytes.NewReader(content), 100)
	near(t, "left", left, []float64{0.5, 0}, 1e-12)
	near(t, "right", right, []float64{-1, math.Exp2(-23)}, 1e-12)
	if f.Rate != 44100 || f.Bits != 24 || f.Frames != 2 {
		t.Errorf("format %+v", f)
	}
}

// Headers that lie, contradict themselves, or promise what is not read: refused
// with what is wrong and what to do, without memory for what they claim.
func TestHostileHeaders(t *testing.T) {
	a, _ := ramps(2000)
	good := wavOf(44100, 16, a)
	flacGood := flacOf(t, 44100, 16, a)
	for name, tc := range map[string]struct {
		file []byte
		says string
	}{
		"empty":                     {nil, "is empty"},
		"text":                      {[]byte("session,player,horn"), "neither WAV nor FLAC"},
		"RIFF of something else":    {patch(good, 8, 'A', 'V', 'I', ' '), "begins like a WAV file"},
		"only a beginning":          {good[:10], "begins like a WAV file"},
		"header cut":                {good[:30], "ends before its first sample"},
		"no samples":                {good[:36], "holds no samples"},
		"no rate":                   {patch(good, 24, 0, 0, 0, 0), "0 samples a second"},
		"slow":                      {patch(good, 24, 0x3f, 0x1f, 0, 0), "7999 samples a second"},
		"fast":                      {patch(good, 24, 0xff, 0xff, 0xff, 0xff), "samples a second"},
		"no channels":               {patch(good, 22, 0), "has 0 channels"},
		"three channels":            {patch(good, 22, 3), "has 3 channels"},
		"no bits":                   {patch(good, 34, 0), "contradicts itself"},
		"40 bits":                   {patch(good, 34, 40), "contradicts itself"},
		"bytes do not fit":          {patch(good, 32, 3), "contradicts itself"},
		"no bytes":                  {patch(good, 32, 0), "contradicts itself"},
		"compressed":                {patch(good, 20, 0x55), "format 85 with 16 bits"},
		"float of 16 bits":          {patch(good, 20, 3), "format 3 with 16 bits"},
		"samples first":             {append(bytes.Clone(good[:12]), good[36:]...), "does not say how its samples"},
		"a format of four bytes":    {patch(good, 16, 4), "header that is too short"},
		"a format of 4 GB":          {patch(good, 16, 0xf0, 0xff, 0xff, 0xff), "ends before its first sample"},
		"a chunk of 4 GB":           {append(append(bytes.Clone(good[:12]), "LIST\xf0\xff\xff\xff"...), good[12:]...), "ends before its first sample"},
		"FLAC, only its name":       {flacGood[:4], "FLAC header that can't be read"},
		"FLAC, header cut":          {flacGood[:20], "FLAC header that can't be read"},
		"FLAC of three channels":    {flacOf(t, 44100, 16, a, a, a), "has 3 channels"},
		"FLAC with a picture, 16 M": {append(append(patch(flacGood, 4, 0)[:42:42], 6, 0xff, 0xff, 0xff), flacGood[42:]...), ""},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Listen(context.Background(), bytes.NewReader(tc.file), "a.wav", nil)
		runtime.ReadMemStats(&after)
		if tc.says != "" && (catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), tc.says) || !strings.Contains(err.Error(), "; ")) {
			t.Errorf("%s: error %v, want one of what is invalid with %q and a hint", name, err, tc.says)
		}
		if used := after.TotalAlloc - before.TotalAlloc; used > 4<<20 {
			t.Errorf("%s: %d bytes were allocated", name, used)
		}
	}
}

// A file that breaks off gives what comes before, and says so.
func TestFilesThatBreakOff(t *testing.T) {
	sound := make([]float64, 4*16000)
	sing(sound, 16000, heardNote{start: 0.3, seconds: 1.2, hz: 440, amplitude: 0.2})
	sing(sound, 16000, heardNote{start: 2.3, seconds: 1.2, hz: 440, amplitude: 0.2})
	whole := flacOf(t, 16000, 16, sound)
	for name, file := range map[string][]byte{
		"WAV": wavOf(16000, 16, sound)[:44+2*2*16000+1], "FLAC": whole[:len(whole)*6/10],
		"FLAC that promises more": patch(flacOf(t, 16000, 16, sound[:2*16000]), 22, 0, 1, 0, 0),
		"FLAC, damaged":           patch(whole, len(whole)*6/10, 1, 2, 3, 4, 5, 6, 7, 8),
	} {
		r := listen(t, file)
		if n := strings.Join(r.Notices, " "); len(r.Kept()) != 1 || !strings.Contains(n, "breaks off after") {
			t.Errorf("%s: %d notes, notices %q; want one note, and that it breaks off", name, len(r.Kept()), n)
		}
	}
}

// Samples that are no numbers, or far too loud, count as silence.
func TestFloatsThatAreNoNumbers(t *testing.T) {
	sound := make([]float64, 2*16000)
	sing(sound, 16000, heardNote{start: 0.3, seconds: 1.4, hz: 440, amplitude: 0.2})
	for i := 9000; i < len(sound); i += 4001 {
		sound[i] = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300}[i%4]
	}
	for _, bits := range []int{132, 164} {
		r := listen(t, wavOf(16000, bits, sound))
		wantNotes(t, "with damaged samples", r, 440)
	}
}

// An error of reading is that error, not the end of the file.
func TestReadingFails(t *testing.T) {
	broken := errors.New("the disk is gone")
	noise := make([]float64, 40000)
	hiss(noise, 0.1, 1)
	file := wavOf(16000, 16, noise)
	for _, content := range [][]byte{file, flacOf(t, 16000, 16, noise)} {
		for _, at := range []int{30, 30000} {
			_, err := Listen(context.Background(), io.MultiReader(bytes.NewReader(content[:at]), iotest.ErrReader(broken)), "a.wav", nil)
			if !errors.Is(err, broken) {
				t.Errorf("after %d bytes of %s: error %v, want %v", at, content[:4], err, broken)
			}
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Listen(ctx, bytes.NewReader(file), "a.wav", nil); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
