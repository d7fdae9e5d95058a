-- +goose Up

-- Who may use a pool server that serves this catalog. hash is the SHA-256 of the
-- token's text, which is kept nowhere. No part of the digest, and never pooled.
CREATE TABLE pool_token (
    id TEXT NOT NULL PRIMARY KEY,
    contributor TEXT NOT NULL,
    scope TEXT NOT NULL,
    hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
    note TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER,
    revoked_at INTEGER,
    used_at INTEGER
) STRICT, WITHOUT ROWID;

-- +goose Down

DROP TABLE pool_token;
