-- +goose Up

-- Everything lies in a schema of its own, which search_path names. Texts are
-- compared and sorted by their bytes (COLLATE "C"), whatever the database's own
-- language. Texts that may be long have hash indices: others refuse them.

-- The catalog itself: one row. digest is the sum of the digests of all current
-- gear and of all sessions that are not retracted.
CREATE TABLE catalog (
    -- The name of this rule tells a catalog from other programs' tables.
    one SMALLINT NOT NULL PRIMARY KEY CONSTRAINT centwise_catalog CHECK (one = 1),
    title TEXT COLLATE "C" NOT NULL,
    digest BYTEA NOT NULL CHECK (octet_length(digest) = 32)
);

INSERT INTO catalog (one, title, digest) VALUES (1, '', decode(repeat('00', 32), 'hex'));

-- Gear keeps every revision; the head row says which one is current and keeps
-- the label unique. folded is the label ready for comparing without case.
CREATE TABLE horn_revision (
    id TEXT COLLATE "C" NOT NULL,
    number BIGINT NOT NULL CHECK (number >= 1),
    revised_at BIGINT NOT NULL,
    contributor TEXT COLLATE "C" NOT NULL,
    retired SMALLINT NOT NULL CHECK (retired IN (0, 1)),
    digest BYTEA NOT NULL CHECK (octet_length(digest) = 32),
    label TEXT COLLATE "C" NOT NULL,
    maker TEXT COLLATE "C" NOT NULL,
    model TEXT COLLATE "C" NOT NULL,
    serial TEXT COLLATE "C" NOT NULL,
    instrument TEXT COLLATE "C" NOT NULL,
    pitch_key TEXT COLLATE "C" NOT NULL,
    valves SMALLINT NOT NULL CHECK (valves IN (3, 4)),
    receiver TEXT COLLATE "C" NOT NULL,
    bore_mm DOUBLE PRECISION NOT NULL,
    throw1_mm DOUBLE PRECISION NOT NULL,
    throw3_mm DOUBLE PRECISION NOT NULL,
    loaner SMALLINT NOT NULL CHECK (loaner IN (0, 1)),
    owner TEXT COLLATE "C" NOT NULL,
    tags TEXT COLLATE "C" NOT NULL,
    bore_geometry TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (id, number)
);

CREATE TABLE horn (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    number BIGINT NOT NULL,
    label TEXT COLLATE "C" NOT NULL UNIQUE,
    folded TEXT COLLATE "C" NOT NULL,
    FOREIGN KEY (id, number) REFERENCES horn_revision (id, number)
);

CREATE INDEX horn_folded ON horn USING hash (folded);

CREATE TABLE mouthpiece_revision (
    id TEXT COLLATE "C" NOT NULL,
    number BIGINT NOT NULL CHECK (number >= 1),
    revised_at BIGINT NOT NULL,
    contributor TEXT COLLATE "C" NOT NULL,
    retired SMALLINT NOT NULL CHECK (retired IN (0, 1)),
    digest BYTEA NOT NULL CHECK (octet_length(digest) = 32),
    label TEXT COLLATE "C" NOT NULL,
    maker TEXT COLLATE "C" NOT NULL,
    model TEXT COLLATE "C" NOT NULL,
    serial TEXT COLLATE "C" NOT NULL,
    shank TEXT COLLATE "C" NOT NULL,
    rim_mm DOUBLE PRECISION NOT NULL,
    cup_cm3 DOUBLE PRECISION NOT NULL,
    cup_depth_mm DOUBLE PRECISION NOT NULL,
    throat_mm DOUBLE PRECISION NOT NULL,
    throat_length_mm DOUBLE PRECISION NOT NULL,
    backbore_mm DOUBLE PRECISION NOT NULL,
    backbore_character TEXT COLLATE "C" NOT NULL,
    length_mm DOUBLE PRECISION NOT NULL,
    owner TEXT COLLATE "C" NOT NULL,
    stock TEXT COLLATE "C" NOT NULL,
    tags TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (id, number)
);

CREATE TABLE mouthpiece (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    number BIGINT NOT NULL,
    label TEXT COLLATE "C" NOT NULL UNIQUE,
    folded TEXT COLLATE "C" NOT NULL,
    FOREIGN KEY (id, number) REFERENCES mouthpiece_revision (id, number)
);

CREATE INDEX mouthpiece_folded ON mouthpiece USING hash (folded);

CREATE TABLE player_revision (
    id TEXT COLLATE "C" NOT NULL,
    number BIGINT NOT NULL CHECK (number >= 1),
    revised_at BIGINT NOT NULL,
    contributor TEXT COLLATE "C" NOT NULL,
    retired SMALLINT NOT NULL CHECK (retired IN (0, 1)),
    digest BYTEA NOT NULL CHECK (octet_length(digest) = 32),
    label TEXT COLLATE "C" NOT NULL,
    level TEXT COLLATE "C" NOT NULL,
    rim_min_mm DOUBLE PRECISION NOT NULL,
    rim_max_mm DOUBLE PRECISION NOT NULL,
    cup_min_cm3 DOUBLE PRECISION NOT NULL,
    cup_max_cm3 DOUBLE PRECISION NOT NULL,
    tolerance_cents DOUBLE PRECISION NOT NULL,
    range_low SMALLINT NOT NULL,
    range_high SMALLINT NOT NULL,
    tags TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (id, number)
);

CREATE TABLE player (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    number BIGINT NOT NULL,
    label TEXT COLLATE "C" NOT NULL UNIQUE,
    folded TEXT COLLATE "C" NOT NULL,
    FOREIGN KEY (id, number) REFERENCES player_revision (id, number)
);

CREATE INDEX player_folded ON player USING hash (folded);

-- Sessions in order of recording. content is the digest of the session without
-- its gear, so that a new label of the gear needs no reading of its readings.
CREATE TABLE session (
    seq BIGINT NOT NULL PRIMARY KEY,
    id TEXT COLLATE "C" NOT NULL UNIQUE,
    name TEXT COLLATE "C" NOT NULL,
    folded TEXT COLLATE "C" NOT NULL,
    horn TEXT COLLATE "C" NOT NULL REFERENCES horn (id),
    mouthpiece TEXT COLLATE "C" NOT NULL REFERENCES mouthpiece (id),
    player TEXT COLLATE "C" REFERENCES player (id),
    contributor TEXT COLLATE "C" NOT NULL,
    played_at BIGINT,
    recorded_at BIGINT NOT NULL,
    a4_hz DOUBLE PRECISION NOT NULL,
    temperature_c DOUBLE PRECISION,
    slide_mm DOUBLE PRECISION,
    gap_mm DOUBLE PRECISION,
    dynamic TEXT COLLATE "C" NOT NULL,
    method TEXT COLLATE "C" NOT NULL,
    remark TEXT COLLATE "C" NOT NULL,
    source TEXT COLLATE "C" NOT NULL,
    adapter SMALLINT NOT NULL CHECK (adapter IN (0, 1)),
    reading_count BIGINT NOT NULL CHECK (reading_count >= 1),
    content BYTEA NOT NULL CHECK (octet_length(content) = 32),
    retracted_at BIGINT,
    retracted_by TEXT COLLATE "C",
    retraction_reason TEXT COLLATE "C",
    replaced_by TEXT COLLATE "C" REFERENCES session (id) DEFERRABLE INITIALLY DEFERRED
);

CREATE UNIQUE INDEX session_name ON session (name) WHERE retracted_at IS NULL;
CREATE INDEX session_folded ON session USING hash (folded);
CREATE INDEX session_horn ON session (horn, mouthpiece);
CREATE INDEX session_mouthpiece ON session (mouthpiece);
CREATE INDEX session_player ON session (player);
CREATE INDEX session_replaced_by ON session (replaced_by) WHERE replaced_by IS NOT NULL;

-- The wide columns come first: no room is lost between them. session is the seq
-- of a session, which no rule says: to look each up took three quarters of the
-- time of an import. Readings are written with their session in one transaction,
-- sessions are never deleted, and catalog check looks.
CREATE TABLE reading (
    session BIGINT NOT NULL,
    cents DOUBLE PRECISION NOT NULL,
    repeat INTEGER NOT NULL CHECK (repeat >= 1),
    valves SMALLINT NOT NULL CHECK (valves BETWEEN 0 AND 15),
    partial SMALLINT NOT NULL CHECK (partial BETWEEN 1 AND 12),
    odd SMALLINT NOT NULL CHECK (odd IN (0, 1)),
    PRIMARY KEY (session, valves, partial, repeat)
);

-- The stored fit: at most one, in named sections with their SHA-256.
CREATE TABLE fit (
    one SMALLINT NOT NULL PRIMARY KEY CHECK (one = 1),
    digest TEXT COLLATE "C" NOT NULL,
    version BIGINT NOT NULL,
    fitted_at BIGINT
);

CREATE TABLE fit_section (
    name TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    checksum BYTEA NOT NULL CHECK (octet_length(checksum) = 32),
    body BYTEA NOT NULL
);

-- Sections do not shrink, so nothing is gained by trying.
ALTER TABLE fit_section ALTER COLUMN body SET STORAGE EXTERNAL;

-- +goose Down

DROP TABLE fit_section;
DROP TABLE fit;
DROP TABLE reading;
DROP TABLE session;
DROP TABLE player;
DROP TABLE player_revision;
DROP TABLE mouthpiece;
DROP TABLE mouthpiece_revision;
DROP TABLE horn;
DROP TABLE horn_revision;
DROP TABLE catalog;
