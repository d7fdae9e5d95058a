package sqlstore

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"maps"
	"slices"

	"centwise/catalog"
)

// maxSection is the largest section of a fit that is stored: a little less
// than the largest value that SQLite holds by default, 10^9 bytes.
const maxSection = 900_000_000

// SaveFit replaces the stored fit by f.
func (s *Store) SaveFit(ctx context.Context, f catalog.StoredFit) error {
	if err := validSections(f); err != nil {
		return err
	}
	return s.write(ctx, "saving the fit", func(tx *transaction) error {
		for _, q := range []string{`DELETE FROM fit_section`, `DELETE FROM fit`} {
			if _, err := tx.ExecContext(ctx, q); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO fit (one, digest, version, fitted_at) VALUES (1, $1, $2, $3)`, f.Digest, f.Version, (*instant)(&f.At))
		if err != nil {
			return err
		}
		return saveSections(ctx, tx, f)
	})
}

// AmendFit replaces the sections that f names, and the digest, version and time
// of the stored fit.
func (s *Store) AmendFit(ctx context.Context, f catalog.StoredFit, from string) error {
	if err := validSections(f); err != nil {
		return err
	}
	return s.write(ctx, "amending the fit", func(tx *transaction) error {
		var stored string
		err := tx.QueryRowContext(ctx, `SELECT digest FROM fit WHERE one = 1`).Scan(&stored)
		if err == sql.ErrNoRows {
			return catalog.Errorf(catalog.NotFound, refit, "the catalog has no fit yet")
		}
		if err != nil {
			return err
		}
		if stored != from {
			return catalog.Errorf(catalog.Conflict, "run the command again", "the catalog was fitted anew meanwhile")
		}
		_, err = tx.ExecContext(ctx, `UPDATE fit SET digest = $1, version = $2, fitted_at = $3 WHERE one = 1`, f.Digest, f.Version, (*instant)(&f.At))
		if err != nil {
			return err
		}
		return saveSections(ctx, tx, f)
	})
}

func validSections(f catalog.StoredFit) error {
	for name, body := range f.Sections {
		if name == "" || askable(name) != name || len(body) > maxSection {
			return catalog.Errorf(catalog.Invalid, "split it", "section %q of the fit has %d bytes; it needs a name of plain text and at most %d bytes", name, len(body), maxSection)
		}
	}
	return nil
}

// saveSections writes the sections of f over those of the same names.
func saveSections(ctx context.Context, tx *transaction, f catalog.StoredFit) error {
	for _, name := range slices.Sorted(maps.Keys(f.Sections)) {
		body := f.Sections[name]
		if body == nil {
			body = []byte{} // nil would be NULL
		}
		checksum := sha256.Sum256(body)
		_, err := tx.ExecContext(ctx, `INSERT INTO fit_section (name, checksum, body) VALUES ($1, $2, $3)
			ON CONFLICT (name) DO UPDATE SET checksum = excluded.checksum, body = excluded.body`, name, checksum[:], body)
		if err != nil {
			return err
		}
	}
	return nil
}

const refit = "make it with: centwise fit"

// LoadFit hands the named sections of the stored fit to take, all when none is
// named. NotFound, with the advice to fit again: there is no fit, it lacks a
// section, or a section is damaged.
func (s *Store) LoadFit(ctx context.Context, take func(f catalog.StoredFit, section string, body []byte) error, sections ...string) error {
	return s.read(ctx, "loading the fit", func(tx *transaction) error {
		var f catalog.StoredFit
		err := tx.QueryRowContext(ctx, `SELECT digest, version, fitted_at FROM fit WHERE one = 1`).Scan(&f.Digest, &f.Version, (*instant)(&f.At))
		if err == sql.ErrNoRows {
			return catalog.Errorf(catalog.NotFound, refit, "the catalog has no fit yet")
		}
		if err != nil {
			return err
		}
		if len(sections) == 0 {
			if sections, err = texts(ctx, tx, `SELECT name FROM fit_section ORDER BY name`); err != nil {
				return err
			}
		}
		for _, name := range sections {
			err := loadSection(ctx, tx, name, func(body []byte) error { return take(f, name, body) })
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// loadSection hands a section to take in the memory of the driver: copies of
// large sections would take longer than reading them.
func loadSection(ctx context.Context, tx *transaction, name string, take func(body []byte) error) error {
	rows, err := tx.QueryContext(ctx, `SELECT checksum, body FROM fit_section WHERE name = $1`, askable(name))
	if err != nil {
		return err
	}
	defer rows.Close()
	if !rows.Next() {
		if err := rows.Err(); err != nil {
			return err
		}
		return catalog.Errorf(catalog.NotFound, refit, "the stored fit has no section %q", name)
	}
	var checksum digest
	var body sql.RawBytes
	if err := rows.Scan(&checksum, &body); err != nil {
		return err
	}
	if sha256.Sum256(body) != checksum {
		return catalog.Errorf(catalog.NotFound, refit, "section %q of the stored fit is damaged", name)
	}
	return take(body)
}
