package score

import (
	"context"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2/smf"
)

// A part of 400 measures of eight notes.
func benchScore() string {
	var measures []string
	for range 400 {
		measures = append(measures, strings.Repeat(tone("C5", 0.5, "<voice>1</voice>", "<type>eighth</type>", "<stem>up</stem>"), 8))
	}
	return solo(measures...)
}

func BenchmarkReadMusicXML(b *testing.B) {
	score := benchScore()
	b.SetBytes(int64(len(score)))
	for b.Loop() {
		if _, err := Read(context.Background(), "suite", strings.NewReader(score)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReadMIDI(b *testing.B) {
	notes := make([]played, 100_000)
	for i := range notes {
		notes[i] = played{uint8(60 + i%20), 48}
	}
	file := midiFile(b, smf.New, smf.MetricTicks(96), trackOf(0, notes...))
	b.SetBytes(int64(len(file)))
	for b.Loop() {
		if _, err := Read(context.Background(), "suite", strings.NewReader(file)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCount(b *testing.B) {
	s := mustRead(b, benchScore())
	for b.Loop() {
		if _, err := s.Part("", Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
