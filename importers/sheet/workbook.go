package sheet

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// Limits on workbooks, in bytes: of the file, of everything unpacked (worksheets
// above a few megabytes are unpacked to temporary files), and of the parts that
// are kept in memory.
const (
	maxWorkbook   = 64 << 20
	maxUnpacked   = 512 << 20
	maxOtherParts = 64 << 20
	maxXMLMemory  = 4 << 20
)

var (
	zipStart = []byte("PK\x03\x04")
	oleStart = []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
	// A workbook with a password is such a container with a stream of this
	// name (UTF-16), [MS-OFFCRYPTO] section 2.3.4.
	encryptedStream = []byte("E\x00n\x00c\x00r\x00y\x00p\x00t\x00e\x00d\x00P\x00a\x00c\x00k\x00a\x00g\x00e\x00")
)

// workbook is one sheet of a workbook.
type workbook struct {
	file     *excelize.File
	rows     *excelize.Rows
	number   int // of the row
	date1904 bool
}

// openWorkbook opens the named sheet, the first if name is empty, and gives its
// name. If there are cells with formulas or merged cells it gives only those.
func openWorkbook(content io.Reader, name string) (w *workbook, sheet string, found oddities, err error) {
	data, err := readLimited(content)
	if err != nil {
		return nil, "", oddities{}, err
	}
	if bytes.HasPrefix(data, oleStart) {
		return nil, "", oddities{}, refuseContainer(data)
	}
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, "", oddities{}, damaged(err)
	}
	part, err := findSheet(archive, name)
	if err != nil {
		return nil, "", oddities{}, err
	}
	if err := checkSizes(archive); err != nil {
		return nil, part.name, oddities{}, err
	}
	if err := checkTexts(archive); err != nil {
		return nil, part.name, oddities{}, err
	}
	if found, err = scanSheet(archive, part.path); err != nil || found.any() {
		return nil, part.name, found, err
	}
	w, err = openRows(data, part.name)
	return w, part.name, found, err
}

func readLimited(content io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(content, maxWorkbook+1))
	if err == nil && len(data) > maxWorkbook {
		return nil, &stop{0, fmt.Sprintf("is a workbook of more than %d MB", maxWorkbook>>20), "save the sheet as CSV UTF-8"}
	}
	return data, err
}

// refuseContainer tells a workbook with a password from one of the older kind.
func refuseContainer(data []byte) error {
	if bytes.Contains(data, encryptedStream) {
		return &stop{0, "is protected by a password", "save it without a password, or save the sheet as CSV UTF-8"}
	}
	return &stop{0, "is a workbook of the old kind", saveAs}
}

func damaged(err error) error {
	return &stop{0, fmt.Sprintf("is a damaged workbook (%v)", err), "open and save it again in a spreadsheet program, or save the sheet as CSV UTF-8"}
}

// checkSizes refuses a workbook that would unpack to too much, going by the
// sizes it states itself; reading past a stated size is an error of its own.
func checkSizes(archive *zip.Reader) error {
	var all, inMemory uint64
	for _, f := range archive.File {
		if all += f.UncompressedSize64; all > maxUnpacked || f.UncompressedSize64 > maxUnpacked {
			return &stop{0, fmt.Sprintf("unpacks to more than %d MB", maxUnpacked>>20), "save the sheet as CSV UTF-8"}
		}
		if name := strings.ToLower(f.Name); strings.HasPrefix(name, "xl/worksheets/sheet") || name == "xl/sharedstrings.xml" {
			continue
		}
		if inMemory += f.UncompressedSize64; inMemory > maxOtherParts {
			return &stop{0, fmt.Sprintf("holds more than %d MB of pictures and the like", maxOtherParts>>20), "save the sheet as CSV UTF-8"}
		}
	}
	return nil
}

func openRows(data []byte, sheet string) (*workbook, error) {
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: maxXMLMemory,
	})
	if err != nil {
		return nil, damaged(err)
	}
	w := &workbook{file: f}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		w.date1904 = *props.Date1904
	}
	if w.rows, err = f.Rows(sheet); err != nil {
		f.Close()
		return nil, damaged(err)
	}
	return w, nil
}

func (w *workbook) next() (row, error) {
	if !w.rows.Next() {
		if err := w.rows.Error(); err != nil {
			return row{}, damaged(err)
		}
		return row{}, io.EOF
	}
	w.number++
	cells, err := w.rows.Columns()
	if err != nil {
		return row{}, damaged(err)
	}
	for i, c := range cells {
		cells[i] = visibleDigits(c)
	}
	return row{w.number, cells}, nil
}

func (w *workbook) lineOf(int) int { return w.number }

// date reads a date written as text, or as the number of days that spreadsheets
// keep for a date.
func (w *workbook) date(cell string) (time.Time, error) {
	days, err := parseNumber(cell, pointDecimals)
	if err != nil {
		return parseDate(cell)
	}
	t, err := excelize.ExcelDateToTime(days, w.date1904)
	if err != nil || days < 1 {
		return time.Time{}, errNotDate
	}
	return t.UTC(), nil
}

func (w *workbook) close() error {
	return errors.Join(w.rows.Close(), w.file.Close())
}
