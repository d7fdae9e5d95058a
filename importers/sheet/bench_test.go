package sheet

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"centwise/catalog/pitch"
)

// sessionSheet writes a sheet of n readings: sessions of 45 notes with dates and
// temperatures, by 40 players on 30 horns with 40 mouthpieces.
func sessionSheet(n int, row func(cells ...any)) {
	slots := pitch.UsualSlots(54, 91, 3)
	row("session", "date", "contributor", "player", "horn", "mouthpiece", "temperature_c", "fingering", "partial", "cents")
	for i := range n {
		session := i / 45
		slot := slots[i%45%len(slots)]
		row(fmt.Sprintf("visit %d", session), "2025-03-01", "lamp-keeper", fmt.Sprintf("player-%d", session%41), fmt.Sprintf("Horn %d", session%30),
			fmt.Sprintf("Mouthpiece %d", session%40), 21.5, slot.Valves.String(), slot.Partial, float64(i%601-300)/10)
	}
}

func csvSheet(n int) string {
	var b strings.Builder
	sessionSheet(n, func(cells ...any) {
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(',')
			}
			fmt.Fprint(&b, c)
		}
		b.WriteByte('\n')
	})
	return b.String()
}

func BenchmarkImport(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000} {
		content := csvSheet(n)
		b.Run(fmt.Sprintf("csv/%d", n), func(b *testing.B) {
			benchmarkPlan(b, n, func() File { return text("sheet.csv", content) })
		})
	}
	const n = 100_000
	f := excelize.NewFile()
	defer f.Close()
	w, err := f.NewStreamWriter("Sheet1")
	if err != nil {
		b.Fatal(err)
	}
	line := 0
	sessionSheet(n, func(cells ...any) {
		line++
		if err := w.SetRow(fmt.Sprintf("A%d", line), cells); err != nil {
			b.Fatal(err)
		}
	})
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	var data bytes.Buffer
	if err := f.Write(&data); err != nil {
		b.Fatal(err)
	}
	b.Run(fmt.Sprintf("xlsx/%d", n), func(b *testing.B) {
		benchmarkPlan(b, n, func() File { return File{"visits.xlsx", bytes.NewReader(data.Bytes())} })
	})
}

func benchmarkPlan(b *testing.B, n int, open func() File) {
	m := &memory{}
	have, err := look(context.Background(), m)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		changes, report, err := Plan(context.Background(), have, []File{open()}, Options{Create: true})
		if err != nil || report.Readings != n || len(changes.Sessions) != report.Sessions {
			b.Fatalf("%+v, %v", report, err)
		}
		runtime.KeepAlive(changes)
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
