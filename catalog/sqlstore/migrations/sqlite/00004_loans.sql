-- +goose Up

-- Who has which horn or mouthpiece, and who had it. No part of the digest: no
-- fit depends on it. A thing, or a copy of a mouthpiece, is out once at most.
CREATE TABLE loan (
    seq INTEGER NOT NULL PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    horn TEXT REFERENCES horn (id),
    mouthpiece TEXT REFERENCES mouthpiece (id),
    copy INTEGER NOT NULL CHECK (copy >= 1),
    player TEXT NOT NULL REFERENCES player (id),
    since INTEGER NOT NULL,
    until INTEGER,
    recorded_at INTEGER NOT NULL,
    contributor TEXT NOT NULL,
    remark TEXT NOT NULL,
    returned_at INTEGER,
    returned_to TEXT,
    return_remark TEXT,
    CHECK ((horn IS NULL) <> (mouthpiece IS NULL))
) STRICT;

CREATE UNIQUE INDEX loan_horn_out ON loan (horn) WHERE returned_at IS NULL AND horn IS NOT NULL;
CREATE UNIQUE INDEX loan_mouthpiece_out ON loan (mouthpiece, copy) WHERE returned_at IS NULL AND mouthpiece IS NOT NULL;
CREATE INDEX loan_horn ON loan (horn) WHERE horn IS NOT NULL;
CREATE INDEX loan_mouthpiece ON loan (mouthpiece) WHERE mouthpiece IS NOT NULL;
CREATE INDEX loan_player ON loan (player);

-- +goose Down

DROP TABLE loan;
