-- +goose Up

-- How much each written note counts for a player, as in "C4=12.5 D4=3"; empty
-- for none. Not part of the digest: no fit depends on it.
ALTER TABLE player_revision ADD COLUMN weights TEXT COLLATE "C" NOT NULL DEFAULT '';

-- +goose Down

ALTER TABLE player_revision DROP COLUMN weights;
