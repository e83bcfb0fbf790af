-- +goose Up
CREATE TABLE trends (
    name     TEXT   PRIMARY KEY, -- unit/ID, or group/MODEL/QUANTITY,
    body     BYTEA  NOT NULL,
    checksum BIGINT NOT NULL
);
