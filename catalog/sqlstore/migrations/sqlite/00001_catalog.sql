-- +goose Up

-- "cwis": tells a catalog from other programs' databases.
PRAGMA application_id = 1668770163;

-- The catalog itself: one row. digest is the sum of the digests of all current
-- gear and of all sessions that are not retracted.
CREATE TABLE catalog (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    title TEXT NOT NULL,
    digest BLOB NOT NULL CHECK (length(digest) = 32)
) STRICT;

INSERT INTO catalog (one, title, digest) VALUES (1, '', zeroblob(32));

-- Gear keeps every revision; the head row says which one is current and keeps
-- the label unique. folded is the label ready for comparing without case.
CREATE TABLE horn_revision (
    id TEXT NOT NULL,
    number INTEGER NOT NULL CHECK (number >= 1),
    revised_at INTEGER NOT NULL,
    contributor TEXT NOT NULL,
    retired INTEGER NOT NULL CHECK (retired IN (0, 1)),
    digest BLOB NOT NULL CHECK (length(digest) = 32),
    label TEXT NOT NULL,
    maker TEXT NOT NULL,
    model TEXT NOT NULL,
    serial TEXT NOT NULL,
    instrument TEXT NOT NULL,
    pitch_key TEXT NOT NULL,
    valves INTEGER NOT NULL CHECK (valves IN (3, 4)),
    receiver TEXT NOT NULL,
    bore_mm REAL NOT NULL,
    throw1_mm REAL NOT NULL,
    throw3_mm REAL NOT NULL,
    loaner INTEGER NOT NULL CHECK (loaner IN (0, 1)),
    owner TEXT NOT NULL,
    tags TEXT NOT NULL,
    bore_geometry TEXT NOT NULL,
    PRIMARY KEY (id, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE horn (
    id TEXT NOT NULL PRIMARY KEY,
    number INTEGER NOT NULL,
    label TEXT NOT NULL UNIQUE,
    folded TEXT NOT NULL,
    FOREIGN KEY (id, number) REFERENCES horn_revision (id, number)
) STRICT, WITHOUT ROWID;

CREATE INDEX horn_folded ON horn (folded);

CREATE TABLE mouthpiece_revision (
    id TEXT NOT NULL,
    number INTEGER NOT NULL CHECK (number >= 1),
    revised_at INTEGER NOT NULL,
    contributor TEXT NOT NULL,
    retired INTEGER NOT NULL CHECK (retired IN (0, 1)),
    digest BLOB NOT NULL CHECK (length(digest) = 32),
    label TEXT NOT NULL,
    maker TEXT NOT NULL,
    model TEXT NOT NULL,
    serial TEXT NOT NULL,
    shank TEXT NOT NULL,
    rim_mm REAL NOT NULL,
    cup_cm3 REAL NOT NULL,
    cup_depth_mm REAL NOT NULL,
    throat_mm REAL NOT NULL,
    throat_length_mm REAL NOT NULL,
    backbore_mm REAL NOT NULL,
    backbore_character TEXT NOT NULL,
    length_mm REAL NOT NULL,
    owner TEXT NOT NULL,
    stock TEXT NOT NULL,
    tags TEXT NOT NULL,
    PRIMARY KEY (id, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE mouthpiece (
    id TEXT NOT NULL PRIMARY KEY,
    number INTEGER NOT NULL,
    label TEXT NOT NULL UNIQUE,
    folded TEXT NOT NULL,
    FOREIGN KEY (id, number) REFERENCES mouthpiece_revision (id, number)
) STRICT, WITHOUT ROWID;

CREATE INDEX mouthpiece_folded ON mouthpiece (folded);

CREATE TABLE player_revision (
    id TEXT NOT NULL,
    number INTEGER NOT NULL CHECK (number >= 1),
    revised_at INTEGER NOT NULL,
    contributor TEXT NOT NULL,
    retired INTEGER NOT NULL CHECK (retired IN (0, 1)),
    digest BLOB NOT NULL CHECK (length(digest) = 32),
    label TEXT NOT NULL,
    level TEXT NOT NULL,
    rim_min_mm REAL NOT NULL,
    rim_max_mm REAL NOT NULL,
    cup_min_cm3 REAL NOT NULL,
    cup_max_cm3 REAL NOT NULL,
    tolerance_cents REAL NOT NULL,
    range_low INTEGER NOT NULL,
    range_high INTEGER NOT NULL,
    tags TEXT NOT NULL,
    PRIMARY KEY (id, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE player (
    id TEXT NOT NULL PRIMARY KEY,
    number INTEGER NOT NULL,
    label TEXT NOT NULL UNIQUE,
    folded TEXT NOT NULL,
    FOREIGN KEY (id, number) REFERENCES player_revision (id, number)
) STRICT, WITHOUT ROWID;

CREATE INDEX player_folded ON player (folded);

-- Sessions in order of recording. content is the digest of the session without
-- its gear, so that a new label of the gear needs no reading of its readings.
CREATE TABLE session (
    seq INTEGER NOT NULL PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    folded TEXT NOT NULL,
    horn TEXT NOT NULL REFERENCES horn (id),
    mouthpiece TEXT NOT NULL REFERENCES mouthpiece (id),
    player TEXT REFERENCES player (id),
    contributor TEXT NOT NULL,
    played_at INTEGER,
    recorded_at INTEGER NOT NULL,
    a4_hz REAL NOT NULL,
    temperature_c REAL,
    slide_mm REAL,
    gap_mm REAL,
    dynamic TEXT NOT NULL,
    method TEXT NOT NULL,
    remark TEXT NOT NULL,
    source TEXT NOT NULL,
    adapter INTEGER NOT NULL CHECK (adapter IN (0, 1)),
    reading_count INTEGER NOT NULL CHECK (reading_count >= 1),
    content BLOB NOT NULL CHECK (length(content) = 32),
    retracted_at INTEGER,
    retracted_by TEXT,
    retraction_reason TEXT,
    replaced_by TEXT REFERENCES session (id) DEFERRABLE INITIALLY DEFERRED
) STRICT;

CREATE UNIQUE INDEX session_name ON session (name) WHERE retracted_at IS NULL;
CREATE INDEX session_folded ON session (folded);
CREATE INDEX session_horn ON session (horn, mouthpiece);
CREATE INDEX session_mouthpiece ON session (mouthpiece);
CREATE INDEX session_player ON session (player);
CREATE INDEX session_replaced_by ON session (replaced_by) WHERE replaced_by IS NOT NULL;

CREATE TABLE reading (
    session INTEGER NOT NULL REFERENCES session (seq),
    valves INTEGER NOT NULL CHECK (valves BETWEEN 0 AND 15),
    partial INTEGER NOT NULL CHECK (partial BETWEEN 1 AND 12),
    repeat INTEGER NOT NULL CHECK (repeat >= 1),
    cents REAL NOT NULL,
    odd INTEGER NOT NULL CHECK (odd IN (0, 1)),
    PRIMARY KEY (session, valves, partial, repeat)
) STRICT, WITHOUT ROWID;

-- The stored fit: at most one, in named sections with their SHA-256.
CREATE TABLE fit (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    digest TEXT NOT NULL,
    version INTEGER NOT NULL,
    fitted_at INTEGER
) STRICT;

CREATE TABLE fit_section (
    name TEXT NOT NULL PRIMARY KEY,
    checksum BLOB NOT NULL CHECK (length(checksum) = 32),
    body BLOB NOT NULL
) STRICT;

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
