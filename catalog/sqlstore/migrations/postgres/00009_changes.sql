-- +goose Up

-- The order in which the catalog came to know its records, for others that keep
-- up with it. A change is one transaction that records something; tag is a random
-- word that tells it from another one with the number, after going back to a
-- backup. number of a record is the last change that touched it, source the URL
-- it came from, if it is as it came.
CREATE TABLE pool_commit (
    number BIGINT NOT NULL PRIMARY KEY CHECK (number >= 1),
    tag TEXT COLLATE "C" NOT NULL
);

INSERT INTO pool_commit (number, tag) VALUES (1, left(replace(gen_random_uuid()::TEXT, '-', ''), 12));

ALTER TABLE pool_other ADD COLUMN id TEXT COLLATE "C" NOT NULL DEFAULT '';
UPDATE pool_other SET id = replace(gen_random_uuid()::TEXT, '-', '');
CREATE UNIQUE INDEX pool_other_id ON pool_other (id);

-- rank is the kind: 1 player, 2 horn, 3 mouthpiece, 4 of no known kind, 5 session,
-- 6 link.
CREATE TABLE pool_change (
    rank BIGINT NOT NULL,
    id TEXT COLLATE "C" NOT NULL,
    number BIGINT NOT NULL,
    source TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (rank, id)
);

INSERT INTO pool_change (rank, id, number, source) SELECT 1, id, 1, '' FROM player;
INSERT INTO pool_change (rank, id, number, source) SELECT 2, id, 1, '' FROM horn;
INSERT INTO pool_change (rank, id, number, source) SELECT 3, id, 1, '' FROM mouthpiece;
INSERT INTO pool_change (rank, id, number, source) SELECT 4, id, 1, '' FROM pool_other;
INSERT INTO pool_change (rank, id, number, source) SELECT 5, id, 1, '' FROM session;

CREATE INDEX pool_change_number ON pool_change (number, rank, id);

-- The catalog's own id, for others.
CREATE TABLE pool_self (
    one SMALLINT NOT NULL PRIMARY KEY CHECK (one = 1),
    id TEXT COLLATE "C" NOT NULL
);

INSERT INTO pool_self (one, id) VALUES (1, replace(gen_random_uuid()::TEXT, '-', ''));

-- What was exchanged with others over a network, up to where. sent is a position
-- here, received and seen are positions there.
CREATE TABLE pool_remote (
    url TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    catalog TEXT COLLATE "C" NOT NULL,
    terms TEXT COLLATE "C" NOT NULL,
    sent TEXT COLLATE "C" NOT NULL,
    received TEXT COLLATE "C" NOT NULL,
    seen TEXT COLLATE "C" NOT NULL,
    sent_at BIGINT,
    received_at BIGINT
);

-- +goose Down

DROP TABLE pool_remote;
DROP TABLE pool_self;
DROP TABLE pool_change;
DROP INDEX pool_other_id;
ALTER TABLE pool_other DROP COLUMN id;
DROP TABLE pool_commit;
