package score

import (
	"context"
	"math"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2/smf"

	"centwise/catalog"
)

// Whatever a file holds, reading it does not crash, and what is counted makes
// sense.
func FuzzMusicXML(f *testing.F) {
	f.Add(solo(transpose("-2", "0")+tone("C4", 2, `<tie type="start"/>`), tone("C4", 1, `<tie type="stop"/>`)+tone("E4", 1, "<chord/>")+backBar))
	f.Add(solo(tone("D4", 0, "<grace/>")+tone("C4", 1), endingBars("1,2", true)+tone("C4", 1), endingBars("3", false)+tone("D4", 1)+sound(`dacapo="yes"`)))
	f.Add(solo(sound(`segno="a"`)+tone("C4", 1)+sound(`tocoda="c"`), tone("C4", 1)+sound(`dalsegno="a" tempo="30" time-only="1"`), sound(`coda="c" fine="yes"`)+tone("G5", 1.5)))
	f.Add(scoreOf("<defaults><concert-score/></defaults>", partOf("P1", tone("C5", 4)+`<backup><duration>3</duration></backup>`+tone("F#5", 1)), partOf("P2", rest(1))))
	f.Add(archiveOf(f, "META-INF/container.xml", container("s.xml"), "s.xml", solo(tone("C4", 1))))
	f.Add("\xff\xfe<\x00a\x00/\x00>\x00")
	f.Fuzz(checkReading)
}

func FuzzMIDI(f *testing.F) {
	f.Add(midiFile(f, smf.NewSMF1, smf.MetricTicks(96), trackOf(0, played{60, 96}, played{0, 10}, played{64, 30}), trackOf(9, played{40, 8})))
	f.Add(midiFile(f, smf.NewSMF2, smf.SMPTE30DropFrame(80), trackOf(0, played{60, 96})))
	f.Add(rawMIDI(0, 0xff, 0x51, 3, 1, 2, 3, 0, 0x90, 60, 9, 96, 64, 9, 5, 60, 0, 0x83, 0x60, 0xf0, 1, 0xf7, 0, 0xb0, 123, 0))
	f.Fuzz(checkReading)
}

// pieces are what FuzzMeasures makes scores of.
var pieces = []string{
	tone("C5", 1), tone("E5", 0.5), tone("G5", 1, "<chord/>"), rest(1), tone("D5", 1, `<tie type="start"/>`), tone("D5", 1, `<tie type="stop"/>`),
	tone("B4", 0, "<grace/>"), tone("B4", 2, "<cue/>"), `<backup><duration>1</duration></backup>`, `<forward><duration>0.5</duration></forward>`,
	forwardBar, backBar, endingBars("1", true), endingBars("2", false), endingBars("1,3", true), endingBars("2", true),
	`<barline><repeat direction="backward" times="3" after-jump="yes"/></barline>`, `<barline><ending number="2" type="discontinue"/></barline>`,
	`<barline location="left"><ending number="4" type="start"/></barline>`, `<barline location="right" segno="a"/>`,
	sound(`dacapo="yes"`), sound(`dalsegno="a"`), sound(`dalsegno="b" time-only="2"`), sound(`segno="a"`), sound(`segno="b"`), sound(`tocoda="c"`),
	sound(`coda="c"`), sound(`fine="yes"`), sound(`tempo="30"`), sound(`tempo="240"`), sound(`forward-repeat="yes"`), transpose("-2", "0"), transpose("3", "-1"),
	`<attributes><divisions>3</divisions></attributes>`, `<sound tempo="77"><offset>-1</offset></sound>`, "", // the last one is a barline
}

// Whatever stands in its measures, a score is played to an end in a time that fits
// its notes.
func FuzzMeasures(f *testing.F) {
	f.Add([]byte{0, 35, 1, 11, 35, 3, 20})
	f.Add([]byte{10, 0, 35, 12, 0, 35, 13, 0, 27, 35, 23, 0, 25, 35, 0, 21, 35, 26, 0})
	f.Fuzz(func(t *testing.T, plan []byte) {
		var measures []string
		text := ""
		for _, b := range plan[:min(len(plan), 300)] {
			piece := pieces[int(b)%len(pieces)]
			text += piece
			if piece == "" {
				measures, text = append(measures, text), ""
			}
		}
		checkReading(t, solo(append(measures, text)...))
	})
}

func checkReading(t *testing.T, content string) {
	s, err := Read(context.Background(), "pier", strings.NewReader(content))
	if err != nil {
		if catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "pier") {
			t.Fatalf("not an error of the file: %v", err)
		}
		return
	}
	sounding := -3
	for i, l := range s.Parts {
		if l.Number != i+1 || l.Notes < 0 {
			t.Fatalf("part %d is listed as %+v", i+1, l)
		}
		for _, o := range []Options{{}, {Transposition: &sounding, Lowest: true, Valves: 4}} {
			checkPart(t, s, l, o)
		}
	}
}

func checkPart(t *testing.T, s *Score, l Listing, o Options) {
	index := l.Number - 1
	played, err := s.play.perform(index, o)
	if err != nil {
		return
	}
	line, _ := singleLine(played.intervals, o.Lowest)
	p := &Part{Listing: l}
	p.count(line, 3)
	most := played.seconds*(1+1e-9) + 1e-6
	if sum := p.Sounding(); math.IsNaN(sum) || sum < 0 || sum > most {
		t.Fatalf("%v s of notes in a piece of %v s", sum, played.seconds)
	}
	for n, seconds := range p.Durations {
		if !(seconds > 0) || p.Times[n] == 0 {
			t.Fatalf("%s sounds %v s, %d times", n, seconds, p.Times[n])
		}
	}
	end := 0.0
	for _, n := range line {
		if n.Start < end || n.End < n.Start {
			t.Fatalf("%v begins before %v", n, end)
		}
		end = n.End
	}
}
