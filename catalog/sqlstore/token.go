package sqlstore

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"centwise/catalog"
)

const tokenColumns = "id, contributor, scope, hash, note, created_at, expires_at, revoked_at, used_at"

// tokenValues lists the columns of a token as pointers.
func tokenValues(t *catalog.Token) []any {
	return []any{&t.ID, &t.Contributor, &t.Scope, (*digest)(&t.Hash), &t.Note,
		(*instant)(&t.Created), (*instant)(&t.Expires), (*instant)(&t.Revoked), (*instant)(&t.LastUsed)}
}

// AddToken keeps a new token.
func (s *Store) AddToken(ctx context.Context, t catalog.Token) error {
	t.Normalize()
	if err := t.Validate(); err != nil {
		return err
	}
	return s.write(ctx, "adding a token", func(tx *transaction) error {
		_, err := tx.ExecContext(ctx, fmt.Sprintf(`INSERT INTO pool_token (%s) VALUES (%s)`, tokenColumns, placeholders(1, strings.Count(tokenColumns, ",")+1)), tokenValues(&t)...)
		return err
	})
}

// Tokens lists all tokens by id.
func (s *Store) Tokens(ctx context.Context) ([]catalog.Token, error) {
	found, err := queryTokens(ctx, s.db, ` ORDER BY id`)
	return found, s.fail(ctx, "listing the tokens", err)
}

// TokenOf finds a token by the hash of its text.
func (s *Store) TokenOf(ctx context.Context, hash catalog.Digest) (catalog.Token, error) {
	found, err := queryTokens(ctx, s.db, ` WHERE hash = $1`, (*digest)(&hash))
	if err != nil {
		return catalog.Token{}, s.fail(ctx, "looking for a token", err)
	}
	if len(found) == 0 {
		return catalog.Token{}, catalog.Errorf(catalog.NotFound, "ask whoever keeps the pool for a new one", "the token is not known")
	}
	return found[0], nil
}

func queryTokens(ctx context.Context, db queryer, rest string, args ...any) ([]catalog.Token, error) {
	rows, err := db.QueryContext(ctx, `SELECT `+tokenColumns+` FROM pool_token`+rest, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []catalog.Token
	for rows.Next() {
		var t catalog.Token
		if err := rows.Scan(tokenValues(&t)...); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

// RevokeTokens ends tokens.
func (s *Store) RevokeTokens(ctx context.Context, at time.Time, ids ...catalog.ID) error {
	return s.write(ctx, "revoking tokens", func(tx *transaction) error {
		for _, id := range ids {
			result, err := tx.ExecContext(ctx, `UPDATE pool_token SET revoked_at = COALESCE(revoked_at, $1) WHERE id = $2`, (*instant)(&at), id)
			if err != nil {
				return err
			}
			n, err := result.RowsAffected()
			if err != nil {
				return err
			}
			if n == 0 {
				return catalog.Errorf(catalog.NotFound, "list what is there with: centwise pool token list --all", "no token with the id %s in the catalog", id)
			}
		}
		return nil
	})
}

// TokensUsed notes when tokens were used.
func (s *Store) TokensUsed(ctx context.Context, at map[catalog.ID]time.Time) error {
	return s.write(ctx, "noting the use of tokens", func(tx *transaction) error {
		for _, id := range slices.Sorted(maps.Keys(at)) {
			when := at[id]
			if _, err := tx.ExecContext(ctx, `UPDATE pool_token SET used_at = $1 WHERE id = $2 AND COALESCE(used_at, 0) < $1`, (*instant)(&when), id); err != nil {
				return err
			}
		}
		return nil
	})
}
