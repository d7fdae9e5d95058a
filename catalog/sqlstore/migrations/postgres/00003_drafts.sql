-- +goose Up

-- Sessions that are being entered. No part of the digest: no fit depends on
-- them. rounds are the slots to read, as in "0/2 13/3; 13/3 0/2".
CREATE TABLE draft (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    started_at BIGINT NOT NULL,
    name TEXT COLLATE "C" NOT NULL,
    folded TEXT COLLATE "C" NOT NULL,
    horn TEXT COLLATE "C" NOT NULL REFERENCES horn (id),
    mouthpiece TEXT COLLATE "C" NOT NULL REFERENCES mouthpiece (id),
    player TEXT COLLATE "C" REFERENCES player (id),
    contributor TEXT COLLATE "C" NOT NULL,
    played_at BIGINT,
    a4_hz DOUBLE PRECISION NOT NULL,
    temperature_c DOUBLE PRECISION,
    slide_mm DOUBLE PRECISION,
    gap_mm DOUBLE PRECISION,
    dynamic TEXT COLLATE "C" NOT NULL,
    method TEXT COLLATE "C" NOT NULL,
    remark TEXT COLLATE "C" NOT NULL,
    source TEXT COLLATE "C" NOT NULL,
    adapter SMALLINT NOT NULL CHECK (adapter IN (0, 1)),
    seed BIGINT NOT NULL,
    rounds TEXT COLLATE "C" NOT NULL
);

-- What was entered, in order. Lines are added, never changed: undo is a line.
CREATE TABLE draft_line (
    draft TEXT COLLATE "C" NOT NULL REFERENCES draft (id),
    number BIGINT NOT NULL CHECK (number >= 1),
    entered_at BIGINT NOT NULL,
    entry TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (draft, number)
);

-- +goose Down

DROP TABLE draft_line;
DROP TABLE draft;
