-- Times are nanoseconds since 1970 in UTC, 0 is never. A checksum covers the
-- whole row, in the outbox the columns above it.

-- +goose Up
CREATE TABLE alarms (
    id       TEXT   PRIMARY KEY,
    site     TEXT   NOT NULL,
    version  BIGINT NOT NULL,
    body     TEXT   NOT NULL,
    checksum BIGINT NOT NULL
);

CREATE TABLE evidence (
    key      TEXT   PRIMARY KEY,
    body     TEXT   NOT NULL,
    checksum BIGINT NOT NULL
);

CREATE TABLE changes (
    entry    BIGINT PRIMARY KEY, -- in the order of writing
    seq      BIGINT UNIQUE,      -- null: not a change of an alarm
    alarm    TEXT   NOT NULL,
    site     TEXT   NOT NULL,
    kind     TEXT   NOT NULL,
    operator TEXT   NOT NULL,
    origin   TEXT   NOT NULL,
    remark   TEXT   NOT NULL,
    at       BIGINT NOT NULL,
    body     TEXT   NOT NULL,
    checksum BIGINT NOT NULL
);
CREATE INDEX changes_at ON changes (at, entry);
CREATE INDEX changes_alarm ON changes (alarm, at, entry);
CREATE INDEX changes_site ON changes (site, at, entry);

CREATE TABLE outbox (
    place        BIGINT PRIMARY KEY, -- in the order of writing
    endpoint     TEXT   NOT NULL,
    id           TEXT   NOT NULL,
    alarm        TEXT   NOT NULL,
    seq          BIGINT NOT NULL,
    type         TEXT   NOT NULL,
    content_type TEXT   NOT NULL,
    body         BYTEA  NOT NULL,
    created      BIGINT NOT NULL,
    checksum     BIGINT NOT NULL,
    state        TEXT   NOT NULL,
    attempts     BIGINT NOT NULL,
    next_attempt BIGINT NOT NULL,
    reason       TEXT   NOT NULL,
    progress     BIGINT NOT NULL,    -- checksum of the four before it
    leads        BIGINT NOT NULL,    -- 1: the oldest that is pending for its endpoint and alarm
    UNIQUE (endpoint, id)
);
CREATE INDEX outbox_alarm ON outbox (endpoint, state, alarm, place);
CREATE INDEX outbox_due ON outbox (endpoint, leads, next_attempt, place);

CREATE TABLE baselines (
    unit        TEXT   NOT NULL,
    version     BIGINT NOT NULL,
    accepted    BIGINT NOT NULL,
    accepted_by TEXT   NOT NULL,
    body        TEXT   NOT NULL,
    checksum    BIGINT NOT NULL,
    PRIMARY KEY (unit, version)
);

CREATE TABLE documents (
    name     TEXT   PRIMARY KEY,
    body     TEXT   NOT NULL,
    checksum BIGINT NOT NULL
);
