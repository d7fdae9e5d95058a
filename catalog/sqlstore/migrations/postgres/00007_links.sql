-- +goose Up

-- Links: an alias is the same thing as what is kept. Ends are ids of records, or
-- names of designs. One row an alias; retired ones were taken apart. root is what
-- the alias goes by in the end, as chains are followed; NULL if the link is not in
-- effect. id stands for kind and alias.
CREATE TABLE link (
    kind TEXT COLLATE "C" NOT NULL,
    alias TEXT COLLATE "C" NOT NULL,
    id TEXT COLLATE "C" NOT NULL UNIQUE,
    kept TEXT COLLATE "C" NOT NULL,
    number BIGINT NOT NULL CHECK (number >= 1),
    revised_at BIGINT NOT NULL,
    contributor TEXT COLLATE "C" NOT NULL,
    retired SMALLINT NOT NULL CHECK (retired IN (0, 1)),
    withheld TEXT COLLATE "C" NOT NULL,
    extra TEXT COLLATE "C" NOT NULL,
    arrived_at BIGINT NOT NULL,
    root TEXT COLLATE "C",
    PRIMARY KEY (kind, alias)
);

-- The record that stands for a linked one; NULL for all others.
ALTER TABLE horn ADD COLUMN kept TEXT COLLATE "C" REFERENCES horn (id) DEFERRABLE INITIALLY DEFERRED;
ALTER TABLE mouthpiece ADD COLUMN kept TEXT COLLATE "C" REFERENCES mouthpiece (id) DEFERRABLE INITIALLY DEFERRED;
CREATE INDEX horn_kept ON horn (kept) WHERE kept IS NOT NULL;
CREATE INDEX mouthpiece_kept ON mouthpiece (kept) WHERE kept IS NOT NULL;

-- +goose Down

DROP INDEX mouthpiece_kept;
DROP INDEX horn_kept;
ALTER TABLE mouthpiece DROP COLUMN kept;
ALTER TABLE horn DROP COLUMN kept;
DROP TABLE link;
