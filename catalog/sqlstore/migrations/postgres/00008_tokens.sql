-- +goose Up

-- Who may use a pool server that serves this catalog. hash is the SHA-256 of the
-- token's text, which is kept nowhere. No part of the digest, and never pooled.
CREATE TABLE pool_token (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    contributor TEXT COLLATE "C" NOT NULL,
    scope TEXT COLLATE "C" NOT NULL,
    hash BYTEA NOT NULL UNIQUE CHECK (octet_length(hash) = 32),
    note TEXT COLLATE "C" NOT NULL,
    created_at BIGINT NOT NULL,
    expires_at BIGINT,
    revoked_at BIGINT,
    used_at BIGINT
);

-- +goose Down

DROP TABLE pool_token;
