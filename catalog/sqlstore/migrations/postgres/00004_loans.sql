-- +goose Up

-- Who has which horn or mouthpiece, and who had it. No part of the digest: no
-- fit depends on it. A thing, or a copy of a mouthpiece, is out once at most.
CREATE TABLE loan (
    seq BIGINT NOT NULL PRIMARY KEY,
    id TEXT COLLATE "C" NOT NULL UNIQUE,
    horn TEXT COLLATE "C" REFERENCES horn (id),
    mouthpiece TEXT COLLATE "C" REFERENCES mouthpiece (id),
    copy SMALLINT NOT NULL CHECK (copy >= 1),
    player TEXT COLLATE "C" NOT NULL REFERENCES player (id),
    since BIGINT NOT NULL,
    until BIGINT,
    recorded_at BIGINT NOT NULL,
    contributor TEXT COLLATE "C" NOT NULL,
    remark TEXT COLLATE "C" NOT NULL,
    returned_at BIGINT,
    returned_to TEXT COLLATE "C",
    return_remark TEXT COLLATE "C",
    CHECK ((horn IS NULL) <> (mouthpiece IS NULL))
);

CREATE UNIQUE INDEX loan_horn_out ON loan (horn) WHERE returned_at IS NULL AND horn IS NOT NULL;
CREATE UNIQUE INDEX loan_mouthpiece_out ON loan (mouthpiece, copy) WHERE returned_at IS NULL AND mouthpiece IS NOT NULL;
CREATE INDEX loan_horn ON loan (horn) WHERE horn IS NOT NULL;
CREATE INDEX loan_mouthpiece ON loan (mouthpiece) WHERE mouthpiece IS NOT NULL;
CREATE INDEX loan_player ON loan (player);

-- +goose Down

DROP TABLE loan;
