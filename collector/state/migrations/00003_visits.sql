-- +goose Up
CREATE TABLE visits (
    number     BIGINT PRIMARY KEY,
    site       TEXT   NOT NULL,
    state      TEXT   NOT NULL,
    begun      BIGINT NOT NULL,
    ended      BIGINT NOT NULL, -- 0: not yet
    body       TEXT   NOT NULL,
    checksum   BIGINT NOT NULL, -- of the columns above it
    levels     TEXT   NOT NULL, -- large, and not needed in a list
    levels_sum BIGINT NOT NULL
);
CREATE INDEX visits_site ON visits (site, number);
CREATE INDEX visits_state ON visits (state, number);
