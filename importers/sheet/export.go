package sheet

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"

	"centwise/catalog"
)

// ExportSessions writes every session that is not retracted as a session sheet,
// a row a reading, that [Import] reads again; odd readings with KeepOdd. Text
// that a spreadsheet could take for a formula is written harmless, see the
// package.
func ExportSessions(ctx context.Context, store catalog.Store, w io.Writer) error {
	return exportSessions(ctx, store, w)
}

// ExportGear writes horns, mouthpieces and players, retired ones too, as a gear
// list that [Import] reads again. Bore geometry is left out.
func ExportGear(ctx context.Context, store catalog.Store, w io.Writer) error {
	return exportGear(ctx, store, w)
}

// exportedColumns are the columns of an exported session sheet.
var exportedColumns = []int{
	colSession, colContributor, colPlayer, colHorn, colMouthpiece, colNote, colFingering, colPartial, colRepeat, colCents,
	colDate, colA4, colTemperature, colSlide, colGap, colDynamic, colMethod, colAdapter, colRemark,
}

func exportSessions(ctx context.Context, store reader, w io.Writer) error {
	sessions, err := store.Sessions(ctx, catalog.SessionFilter{})
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	header := make([]string, len(exportedColumns))
	for i, column := range exportedColumns {
		header[i] = sessionColumns[column]
	}
	if err := out.Write(header); err != nil {
		return writing(err)
	}
	record := make([]string, len(exportedColumns))
	for _, summary := range sessions {
		s, err := store.Session(ctx, string(summary.ID))
		if err != nil {
			return err
		}
		cells := sessionCells(summary)
		for _, r := range s.Readings {
			readingCells(&cells, r)
			for i, column := range exportedColumns {
				record[i] = cells[column]
			}
			if err := out.Write(record); err != nil {
				return writing(err)
			}
		}
	}
	out.Flush()
	return writing(out.Error())
}

func writing(err error) error {
	if err == nil {
		return nil
	}
	return &catalog.Error{Kind: catalog.Unavailable, What: "writing the sheet", Err: err}
}

// sessionCells writes what the rows of a session have in common.
func sessionCells(s catalog.SessionSummary) (cells [sessionColumnCount]string) {
	cells[colSession] = catalog.WriteCell(s.Name)
	cells[colContributor] = catalog.WriteCell(s.Contributor)
	cells[colPlayer] = catalog.WriteCell(s.PlayerLabel)
	cells[colHorn] = catalog.WriteCell(s.HornLabel)
	cells[colMouthpiece] = catalog.WriteCell(s.MouthpieceLabel)
	cells[colDate] = formatDate(s.At)
	cells[colA4] = formatKnown(s.A4Hz)
	cells[colTemperature] = formatOptional(s.TemperatureC)
	cells[colSlide] = formatOptional(s.SlideMM)
	cells[colGap] = formatOptional(s.GapMM)
	cells[colDynamic] = catalog.WriteCell(s.Dynamic)
	cells[colMethod] = string(s.Method)
	cells[colRemark] = catalog.WriteCell(s.Remark)
	cells[colAdapter] = "no"
	if s.Adapter {
		cells[colAdapter] = "yes"
	}
	return cells
}

func formatOptional(x *float64) string {
	if x == nil {
		return ""
	}
	return formatNumber(*x)
}

func readingCells(cells *[sessionColumnCount]string, r catalog.Reading) {
	cells[colNote] = r.Slot.Note().String()
	cells[colFingering] = r.Slot.Valves.String()
	cells[colPartial] = strconv.Itoa(r.Slot.Partial)
	cells[colRepeat] = strconv.Itoa(r.Repeat)
	cells[colCents] = formatNumber(r.Cents)
}

func exportGear(ctx context.Context, store reader, w io.Writer) error {
	haveHorns, err := store.Horns(ctx, true)
	if err != nil {
		return err
	}
	haveMouthpieces, err := store.Mouthpieces(ctx, true)
	if err != nil {
		return err
	}
	havePlayers, err := store.Players(ctx, true)
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	err = out.Write(gearColumns)
	if err == nil {
		err = writeItems(out, horns, haveHorns)
	}
	if err == nil {
		err = writeItems(out, mouthpieces, haveMouthpieces)
	}
	if err == nil {
		err = writeItems(out, players, havePlayers)
	}
	out.Flush()
	if err == nil {
		err = out.Error()
	}
	return writing(err)
}

func writeItems[T any](out *csv.Writer, k *kind[T], items []T) error {
	places := make([]int, len(k.fields))
	for i, f := range k.fields {
		if places[i] = slices.Index(gearColumns, f.column); places[i] < 0 {
			panic(fmt.Sprintf("sheet: the column %s of a %s is not among the columns of gear lists", f.column, k.noun))
		}
	}
	record := make([]string, len(gearColumns))
	for i := range items {
		clear(record)
		record[0] = k.noun
		for j, f := range k.fields {
			record[places[j]] = f.get(&items[i])
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	return nil
}
