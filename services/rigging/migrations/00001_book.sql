-- +goose Up
-- Cranes and gear of the company book. body is the crane or gear as it was put, a message of
-- pikepole.rigging.v1 without its etag; version is the etag.
CREATE TABLE crane (
    company     TEXT   NOT NULL,
    id          TEXT   NOT NULL,
    version     BIGINT NOT NULL,
    body        BLOB   NOT NULL,
    update_time BIGINT NOT NULL,
    PRIMARY KEY (company, id)
);

CREATE TABLE gear (
    company     TEXT   NOT NULL,
    id          TEXT   NOT NULL,
    version     BIGINT NOT NULL,
    body        BLOB   NOT NULL,
    update_time BIGINT NOT NULL,
    PRIMARY KEY (company, id)
);

CREATE TABLE outbox_head (
    company  TEXT   NOT NULL PRIMARY KEY,
    position BIGINT NOT NULL
);
CREATE TABLE outbox (
    company     TEXT   NOT NULL,
    position    BIGINT NOT NULL,
    kind        TEXT   NOT NULL,
    job         TEXT   NOT NULL,
    subject     TEXT   NOT NULL,
    payload     BLOB   NOT NULL,
    create_time BIGINT NOT NULL,
    PRIMARY KEY (company, position)
);
