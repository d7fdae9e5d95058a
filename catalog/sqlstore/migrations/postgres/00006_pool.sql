-- +goose Up

-- Pooling. stated is the label, or name, that a record was given; label and name
-- are what it is called in this catalog, which differs where several were given
-- the same. arrived_at and touched_at say when this catalog came to know.
-- withheld lists the fields that the sender kept back, extra holds fields of
-- newer versions as a JSON object.
ALTER TABLE horn ADD COLUMN stated TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE mouthpiece ADD COLUMN stated TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE player ADD COLUMN stated TEXT COLLATE "C" NOT NULL DEFAULT '';
UPDATE horn SET stated = label;
UPDATE mouthpiece SET stated = label;
UPDATE player SET stated = label;
CREATE INDEX horn_stated ON horn (stated);
CREATE INDEX mouthpiece_stated ON mouthpiece (stated);
CREATE INDEX player_stated ON player (stated);
-- Every change looks for records that are not called what they were given.
CREATE INDEX horn_renamed ON horn (id) WHERE label <> stated;
CREATE INDEX mouthpiece_renamed ON mouthpiece (id) WHERE label <> stated;
CREATE INDEX player_renamed ON player (id) WHERE label <> stated;

ALTER TABLE horn_revision ADD COLUMN withheld TEXT COLLATE "C" NOT NULL DEFAULT '[]';
ALTER TABLE horn_revision ADD COLUMN extra TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE horn_revision ADD COLUMN arrived_at BIGINT NOT NULL DEFAULT 0;
ALTER TABLE mouthpiece_revision ADD COLUMN withheld TEXT COLLATE "C" NOT NULL DEFAULT '[]';
ALTER TABLE mouthpiece_revision ADD COLUMN extra TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE mouthpiece_revision ADD COLUMN arrived_at BIGINT NOT NULL DEFAULT 0;
ALTER TABLE player_revision ADD COLUMN withheld TEXT COLLATE "C" NOT NULL DEFAULT '[]';
ALTER TABLE player_revision ADD COLUMN extra TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE player_revision ADD COLUMN arrived_at BIGINT NOT NULL DEFAULT 0;
UPDATE horn_revision SET arrived_at = revised_at;
UPDATE mouthpiece_revision SET arrived_at = revised_at;
UPDATE player_revision SET arrived_at = revised_at;

ALTER TABLE session ADD COLUMN stated TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE session ADD COLUMN withheld TEXT COLLATE "C" NOT NULL DEFAULT '[]';
ALTER TABLE session ADD COLUMN extra TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE session ADD COLUMN touched_at BIGINT NOT NULL DEFAULT 0;
UPDATE session SET stated = name, touched_at = GREATEST(recorded_at, COALESCE(retracted_at, 0));
-- Not WHERE retracted_at IS NULL: in a large import, plans for almost no rows are
-- kept for many, and would read that through in search of a name.
CREATE INDEX session_stated ON session (stated);
CREATE INDEX session_renamed ON session (seq) WHERE name <> stated;
CREATE INDEX session_touched ON session (touched_at);

-- Records of kinds that only newer versions know, kept to be passed on.
CREATE TABLE pool_other (
    kind TEXT COLLATE "C" NOT NULL,
    body TEXT COLLATE "C" NOT NULL,
    arrived_at BIGINT NOT NULL,
    -- UNIQUE, for texts of any length; a body is one line.
    EXCLUDE USING hash ((kind || E'\n' || body) WITH =)
);

-- The secret that pseudonyms are made with. It never leaves the catalog.
CREATE TABLE pool_secret (
    one SMALLINT NOT NULL PRIMARY KEY CHECK (one = 1),
    salt BYTEA NOT NULL CHECK (octet_length(salt) = 32)
);

INSERT INTO pool_secret (one, salt) VALUES (1, decode(replace(gen_random_uuid()::TEXT || gen_random_uuid()::TEXT, '-', ''), 'hex'));

-- +goose Down

DROP TABLE pool_secret;
DROP TABLE pool_other;
DROP INDEX session_touched;
DROP INDEX session_renamed;
DROP INDEX session_stated;
ALTER TABLE session DROP COLUMN touched_at;
ALTER TABLE session DROP COLUMN extra;
ALTER TABLE session DROP COLUMN withheld;
ALTER TABLE session DROP COLUMN stated;
ALTER TABLE player_revision DROP COLUMN arrived_at;
ALTER TABLE player_revision DROP COLUMN extra;
ALTER TABLE player_revision DROP COLUMN withheld;
ALTER TABLE mouthpiece_revision DROP COLUMN arrived_at;
ALTER TABLE mouthpiece_revision DROP COLUMN extra;
ALTER TABLE mouthpiece_revision DROP COLUMN withheld;
ALTER TABLE horn_revision DROP COLUMN arrived_at;
ALTER TABLE horn_revision DROP COLUMN extra;
ALTER TABLE horn_revision DROP COLUMN withheld;
DROP INDEX player_renamed;
DROP INDEX mouthpiece_renamed;
DROP INDEX horn_renamed;
DROP INDEX player_stated;
DROP INDEX mouthpiece_stated;
DROP INDEX horn_stated;
ALTER TABLE player DROP COLUMN stated;
ALTER TABLE mouthpiece DROP COLUMN stated;
ALTER TABLE horn DROP COLUMN stated;
