-- +goose Up

-- Hours among mouthpieces, planned and as they went. No part of the digest: no
-- fit depends on them before their readings are recorded as sessions. notes are
-- the slots to read, as in "0/2 13/3".
CREATE TABLE visit (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    name TEXT COLLATE "C" NOT NULL,
    folded TEXT COLLATE "C" NOT NULL,
    started_at BIGINT NOT NULL,
    horn TEXT COLLATE "C" NOT NULL REFERENCES horn (id),
    mouthpiece TEXT COLLATE "C" NOT NULL REFERENCES mouthpiece (id),
    player TEXT COLLATE "C" NOT NULL REFERENCES player (id),
    contributor TEXT COLLATE "C" NOT NULL,
    planned BIGINT NOT NULL,
    notes TEXT COLLATE "C" NOT NULL,
    times BIGINT NOT NULL,
    tries BIGINT NOT NULL,
    minutes BIGINT NOT NULL,
    stop_cents DOUBLE PRECISION NOT NULL,
    stop_chance DOUBLE PRECISION NOT NULL,
    blind SMALLINT NOT NULL CHECK (blind IN (0, 1)),
    adapter SMALLINT NOT NULL CHECK (adapter IN (0, 1)),
    seed BIGINT NOT NULL,
    recorded_at BIGINT,
    -- UNIQUE, for texts of any length.
    EXCLUDE USING hash (folded WITH =)
);

CREATE TABLE visit_candidate (
    visit TEXT COLLATE "C" NOT NULL REFERENCES visit (id),
    place BIGINT NOT NULL CHECK (place >= 1),
    code TEXT COLLATE "C" NOT NULL,
    mouthpiece TEXT COLLATE "C" NOT NULL REFERENCES mouthpiece (id),
    PRIMARY KEY (visit, place),
    UNIQUE (visit, code)
);

-- What was entered, in order. Lines are added, never changed: undo is a line.
CREATE TABLE visit_line (
    visit TEXT COLLATE "C" NOT NULL REFERENCES visit (id),
    number BIGINT NOT NULL CHECK (number >= 1),
    entered_at BIGINT NOT NULL,
    entry TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (visit, number)
);

-- +goose Down

DROP TABLE visit_line;
DROP TABLE visit_candidate;
DROP TABLE visit;
