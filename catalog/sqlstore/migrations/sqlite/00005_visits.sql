-- +goose Up

-- Hours among mouthpieces, planned and as they went. No part of the digest: no
-- fit depends on them before their readings are recorded as sessions. notes are
-- the slots to read, as in "0/2 13/3".
CREATE TABLE visit (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    folded TEXT NOT NULL UNIQUE,
    started_at INTEGER NOT NULL,
    horn TEXT NOT NULL REFERENCES horn (id),
    mouthpiece TEXT NOT NULL REFERENCES mouthpiece (id),
    player TEXT NOT NULL REFERENCES player (id),
    contributor TEXT NOT NULL,
    planned INTEGER NOT NULL,
    notes TEXT NOT NULL,
    times INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    minutes INTEGER NOT NULL,
    stop_cents REAL NOT NULL,
    stop_chance REAL NOT NULL,
    blind INTEGER NOT NULL CHECK (blind IN (0, 1)),
    adapter INTEGER NOT NULL CHECK (adapter IN (0, 1)),
    seed INTEGER NOT NULL,
    recorded_at INTEGER
) STRICT, WITHOUT ROWID;

CREATE TABLE visit_candidate (
    visit TEXT NOT NULL REFERENCES visit (id),
    place INTEGER NOT NULL CHECK (place >= 1),
    code TEXT NOT NULL,
    mouthpiece TEXT NOT NULL REFERENCES mouthpiece (id),
    PRIMARY KEY (visit, place),
    UNIQUE (visit, code)
) STRICT, WITHOUT ROWID;

-- What was entered, in order. Lines are added, never changed: undo is a line.
CREATE TABLE visit_line (
    visit TEXT NOT NULL REFERENCES visit (id),
    number INTEGER NOT NULL CHECK (number >= 1),
    entered_at INTEGER NOT NULL,
    entry TEXT NOT NULL,
    PRIMARY KEY (visit, number)
) STRICT, WITHOUT ROWID;

-- +goose Down

DROP TABLE visit_line;
DROP TABLE visit_candidate;
DROP TABLE visit;
