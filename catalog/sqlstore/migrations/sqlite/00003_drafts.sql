-- +goose Up

-- Sessions that are being entered. No part of the digest: no fit depends on
-- them. rounds are the slots to read, as in "0/2 13/3; 13/3 0/2".
CREATE TABLE draft (
    id TEXT NOT NULL PRIMARY KEY,
    started_at INTEGER NOT NULL,
    name TEXT NOT NULL,
    folded TEXT NOT NULL,
    horn TEXT NOT NULL REFERENCES horn (id),
    mouthpiece TEXT NOT NULL REFERENCES mouthpiece (id),
    player TEXT REFERENCES player (id),
    contributor TEXT NOT NULL,
    played_at INTEGER,
    a4_hz REAL NOT NULL,
    temperature_c REAL,
    slide_mm REAL,
    gap_mm REAL,
    dynamic TEXT NOT NULL,
    method TEXT NOT NULL,
    remark TEXT NOT NULL,
    source TEXT NOT NULL,
    adapter INTEGER NOT NULL CHECK (adapter IN (0, 1)),
    seed INTEGER NOT NULL,
    rounds TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- What was entered, in order. Lines are added, never changed: undo is a line.
CREATE TABLE draft_line (
    draft TEXT NOT NULL REFERENCES draft (id),
    number INTEGER NOT NULL CHECK (number >= 1),
    entered_at INTEGER NOT NULL,
    entry TEXT NOT NULL,
    PRIMARY KEY (draft, number)
) STRICT, WITHOUT ROWID;

-- +goose Down

DROP TABLE draft_line;
DROP TABLE draft;
