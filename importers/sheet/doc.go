// Package sheet reads session sheets and gear lists from spreadsheets, and
// writes them.
//
// # Files
//
// CSV with commas, semicolons or tabs, UTF-8 with or without a byte order mark,
// any line ends; or a workbook (.xlsx), of which the first sheet or a named one
// is read. A workbook's cells must hold values: formulas and merged cells are
// refused, and so are workbooks with a password. What a file is shows in its
// content, not in its name. The first row that is not empty is the header;
// columns come in any order, and case, spaces, underscores and hyphens in their
// names do not matter.
//
// Numbers have a decimal point, or a decimal comma where the comma does not
// separate columns. A number in quotes may have a decimal comma too, unless it
// could be read as thousands ("1,200").
//
// # Session sheets
//
// Long form, a row a reading:
//
//	session, contributor, player, horn, mouthpiece, fingering, partial, cents
//
// and optionally note, repeat, date, a4_hz, temperature_c, slide_mm, gap_mm,
// dynamic, method (tuner, recording, impedance), adapter, remark. The written
// note may stand instead of fingering and partial; it is then the usual slot on
// the valves of the horn. When both are given they must agree. Readings without
// a repeat number are numbered as they come. Columns that describe the session
// must say the same in all its rows; a cell left empty says nothing.
//
// Wide form, a row a session: the same columns without the reading's, and one
// column a written note (F#3, Bb4) or slot (13/3). A cell may hold several
// readings with spaces, slashes or semicolons between them. Empty: not read.
//
// # Gear lists
//
// A row an item, with the columns kind (horn, mouthpiece or player) and label,
// and what is known of it; see [GearColumns]. For an item that is in the catalog
// already, columns that the list does not have stay as they are. Entries of
// lists (stock, tags) have a comma or semicolon between them; a backslash before
// one makes it part of the entry. A player's weights of notes stand in one cell,
// as in "C4=12.5 D4=3", with decimal points.
//
// # Notes with a number
//
// Weights and targets are sheets of two columns, a row a written note: see
// [ReadWeights] and [ReadTarget].
//
// # Text that looks like a formula
//
// A spreadsheet takes text that begins with = + - or @ for a formula. On export
// such text gets an apostrophe in front, and so does text that begins with an
// apostrophe. On import an apostrophe before one of these characters is taken
// away, so what was exported comes back as it was.
package sheet
