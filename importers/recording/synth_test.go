package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
)

// heardNote is a made-up note whose pitch is known exactly.
type heardNote struct {
	start, seconds float64
	hz             float64   // of the middle of the vibrato
	vibrato, rate  float64   // cents to either side, Hz
	drift          float64   // cents from beginning to end, nought in the middle
	amplitude      float64   // of the strongest harmonic
	harmonics      []float64 // amplitudes of 1, 2, ...; nil: brass-like
	attack, end    float64   // s; nought: 0.03 and 0.05
}

// brassLike falls by 6 dB an octave above 1 kHz and rises by 6 below: the shape
// that is reported for trumpets (see match/tone).
func brassLike(hz float64) []float64 {
	var out []float64
	for k := 1.0; k*hz < 9000 && k <= 30; k++ {
		x := k * hz / 1000
		out = append(out, x/(1+x*x))
	}
	return out
}

// sing adds a note to sound.
func sing(sound []float64, rate int, n heardNote) {
	amplitudes := n.harmonics
	if amplitudes == nil {
		amplitudes = brassLike(n.hz)
	}
	attack, end := 0.03, 0.05
	if n.attack > 0 {
		attack = n.attack
	}
	if n.end > 0 {
		end = n.end
	}
	turns := 0.0
	for i := int(n.start * float64(rate)); i < min(len(sound), int((n.start+n.seconds)*float64(rate))); i++ {
		t := float64(i)/float64(rate) - n.start
		cents := n.vibrato*math.Sin(2*math.Pi*n.rate*t+1) + n.drift*(t/n.seconds-0.5)
		turns += n.hz * math.Exp2(cents/1200) / float64(rate)
		x := 0.0
		for k, a := range amplitudes {
			if float64(k+1)*n.hz < 0.45*float64(rate) {
				x += a * math.Sin(2*math.Pi*float64(k+1)*turns+float64(k*k))
			}
		}
		sound[i] += n.amplitude * x * min(1, t/attack) * min(1, (n.seconds-t)/end)
	}
}

// hiss adds white noise of a standard deviation.
func hiss(sound []float64, deviation float64, seed uint64) {
	random := rand.New(rand.NewPCG(seed, 1))
	for i := range sound {
		sound[i] += deviation * random.NormFloat64()
	}
}

func rms(sound []float64) float64 {
	sum := 0.0
	for _, x := range sound {
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(sound)))
}

// wavOf writes channels as a WAV file with whole numbers of 8 to 32 bits, or
// floats of 32 (bits 132) or 64 (164).
func wavOf(rate, bits int, channels ...[]float64) []byte {
	kind := uint16(1)
	if bits > 100 {
		kind, bits = 3, bits-100
	}
	width := (bits + 7) / 8
	var data bytes.Buffer
	for i := range channels[0] {
		for _, c := range channels {
			data.Write(sampleBytes(c[i], kind, width))
		}
	}
	var b bytes.Buffer
	little := func(values ...any) {
		for _, v := range values {
			binary.Write(&b, binary.LittleEndian, v)
		}
	}
	b.WriteString("RIFF")
	little(uint32(36 + data.Len()))
	b.WriteString("WAVEfmt ")
	little(uint32(16), kind, uint16(len(channels)), uint32(rate), uint32(rate*width*len(channels)), uint16(width*len(channels)), uint16(bits))
	b.WriteString("data")
	little(uint32(data.Len()))
	b.Write(data.Bytes())
	return b.Bytes()
}

func sampleBytes(x float64, kind uint16, width int) []byte {
	var b [8]byte
	switch {
	case kind == 3 && width == 4:
		binary.LittleEndian.PutUint32(b[:], math.Float32bits(float32(x)))
	case kind == 3:
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(x))
	case width == 1:
		b[0] = byte(math.Round(max(-1, min(127./128, x))*128) + 128)
	default:
		scale := math.Exp2(float64(8*width - 1))
		binary.LittleEndian.PutUint64(b[:], uint64(int64(math.Round(max(-scale, min(scale-1, x*scale))))))
	}
	return b[:width]
}

func listen(t testing.TB, file []byte) *Recording {
	t.Helper()
	r, err := Listen(context.Background(), bytes.NewReader(file), "test.wav", nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
