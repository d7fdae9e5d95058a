package cli

import (
	"context"
	"crypto/sha256"
	"os"
	"path/filepath"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/catalog/sqlstore"
	"centwise/match"
)

// restoreTest makes a backup in a folder of its own, opens it as after a loss,
// and compares everything in it with the catalog, record by record.
func restoreTest(ctx context.Context, f *Factory, store catalog.Store) error {
	folder, err := os.MkdirTemp("", "centwise-restore-")
	if err != nil {
		return &catalog.Error{Kind: catalog.Unavailable, What: "making a folder for the test backup", Hint: "set TMPDIR to a folder with room for a copy of the catalog", Err: err}
	}
	defer os.RemoveAll(folder)
	for range restoreAttempts {
		same, still, err := tryBackup(ctx, f, store, filepath.Join(folder, "backup.db"))
		switch {
		case err != nil:
			return err
		case same != nil:
			f.Streams.Note("A backup was made, opened and compared: %s, %s and %s of gear and players, all as in the catalog.",
				match.Count(same.info.Sessions, "session"), match.Count(same.info.Readings, "reading"), match.Count(same.info.Horns+same.info.Mouthpieces+same.info.Players, "record"))
			return nil
		case still:
			return catalog.Errorf(catalog.Internal, "keep the catalog file as it is, and save what is in it with 'centwise export sessions' and 'centwise pool export'",
				"a backup opens, but does not hold what the catalog holds")
		}
	}
	return catalog.Errorf(catalog.Busy, "repeat it when nobody writes", "the catalog was changed during each of %d backups, so they could not be compared", restoreAttempts)
}

// restoreAttempts is how often a backup is made when others change the catalog
// meanwhile.
const restoreAttempts = 3

// contents is what a catalog holds, in a form that can be compared.
type contents struct {
	info          catalog.Info
	loans, visits int
	records       [sha256.Size]byte
}

// tryBackup makes a backup. Same is what it holds if that is what the catalog
// holds; else still tells whether the catalog stayed as it was meanwhile.
func tryBackup(ctx context.Context, f *Factory, store catalog.Store, path string) (same *contents, still bool, err error) {
	before, err := readContents(ctx, store)
	if err != nil {
		return nil, false, err
	}
	if err := store.Backup(ctx, path); err != nil {
		return nil, false, err
	}
	defer os.Remove(path)
	copied, err := f.Open(ctx, path, sqlstore.Options{ReadOnly: true})
	if err != nil {
		return nil, false, &catalog.Error{Kind: catalog.Internal, What: "opening a backup that was just made", Hint: "keep the catalog file as it is, and save what is in it with 'centwise export sessions'", Err: err}
	}
	defer copied.Close()
	if damage, err := copied.Integrity(ctx); err != nil || len(damage) > 0 {
		return nil, len(damage) > 0, err
	}
	restored, err := readContents(ctx, copied)
	if err != nil {
		return nil, false, err
	}
	if restored == before {
		return &restored, true, nil
	}
	after, err := readContents(ctx, store)
	return nil, after == before, err
}

// readContents reads a whole catalog.
func readContents(ctx context.Context, store catalog.Store) (c contents, err error) {
	if c.info, err = store.Info(ctx); err != nil {
		return c, err
	}
	c.info.Path, c.info.Bytes = "", 0
	c.info.FitAt = c.info.FitAt.UTC()
	loans, err := store.Loans(ctx, catalog.LoanFilter{})
	if err != nil {
		return c, err
	}
	visits, err := store.Visits(ctx)
	if err != nil {
		return c, err
	}
	c.loans, c.visits = len(loans), len(visits)
	sum := sha256.New()
	everything := pool.ExportOptions{Privacy: pool.Privacy{Handles: true, Remarks: true, Owners: true}}
	err = pool.Each(ctx, store, everything, func(p catalog.Pooled, body []byte) error {
		sum.Write([]byte(p.Kind()))
		sum.Write(body)
		return nil
	})
	sum.Sum(c.records[:0])
	return c, err
}
