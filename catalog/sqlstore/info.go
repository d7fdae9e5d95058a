package sqlstore

import (
	"context"
	"database/sql"

	"centwise/catalog"
)

const countEverything = `SELECT c.title, c.digest,
	(SELECT COUNT(*) FROM horn g JOIN horn_revision r ON r.id = g.id AND r.number = g.number WHERE g.kept IS NULL AND r.retired = 0),
	(SELECT COUNT(*) FROM mouthpiece g JOIN mouthpiece_revision r ON r.id = g.id AND r.number = g.number WHERE g.kept IS NULL AND r.retired = 0),
	(SELECT COUNT(*) FROM player g JOIN player_revision r ON r.id = g.id AND r.number = g.number WHERE r.retired = 0),
	(SELECT COUNT(*) FROM horn) + (SELECT COUNT(*) FROM mouthpiece) + (SELECT COUNT(*) FROM player),
	(SELECT COUNT(DISTINCT contributor) FROM session WHERE retracted_at IS NULL AND contributor <> ''),
	(SELECT COUNT(*) FROM session WHERE retracted_at IS NULL),
	(SELECT CAST(COALESCE(SUM(reading_count), 0) AS BIGINT) FROM session WHERE retracted_at IS NULL),
	(SELECT COUNT(*) FROM session WHERE retracted_at IS NOT NULL),
	(SELECT COUNT(*) FROM draft),
	(SELECT COUNT(*) FROM horn WHERE kept IS NOT NULL) + (SELECT COUNT(*) FROM mouthpiece WHERE kept IS NOT NULL),
	(SELECT COUNT(*) FROM (SELECT DISTINCT COALESCE(h.kept, h.id), COALESCE(m.kept, m.id) FROM session s
		JOIN horn h ON h.id = s.horn JOIN mouthpiece m ON m.id = s.mouthpiece WHERE s.retracted_at IS NULL) AS pairs)
	FROM catalog c WHERE c.one = 1`

// Info counts what the catalog holds.
func (s *Store) Info(ctx context.Context) (catalog.Info, error) {
	info := catalog.Info{Path: s.path, Schema: s.schema}
	err := s.read(ctx, "counting what is there", func(tx *transaction) error {
		var sum digest
		var gear int
		err := tx.QueryRowContext(ctx, countEverything).Scan(&info.Title, &sum, &info.Horns, &info.Mouthpieces, &info.Players, &gear,
			&info.Contributors, &info.Sessions, &info.Readings, &info.Retracted, &info.Drafts, &info.Linked, &info.Pairs)
		if err != nil {
			return err
		}
		info.Digest = catalog.Digest(sum).String()
		info.Retired = gear - info.Horns - info.Mouthpieces - info.Players - info.Linked
		if err := tx.QueryRowContext(ctx, s.dialect.size).Scan(&info.Bytes); err != nil {
			return err
		}
		err = tx.QueryRowContext(ctx, `SELECT digest, fitted_at FROM fit WHERE one = 1`).Scan(&info.FitDigest, (*instant)(&info.FitAt))
		if err == sql.ErrNoRows {
			return nil
		}
		return err
	})
	return info, err
}

// Digest is the digest of the data as it stands, without counting anything.
func (s *Store) Digest(ctx context.Context) (catalog.Digest, error) {
	var sum digest
	err := s.db.QueryRowContext(ctx, `SELECT digest FROM catalog WHERE one = 1`).Scan(&sum)
	return catalog.Digest(sum), s.fail(ctx, "reading the digest", err)
}
