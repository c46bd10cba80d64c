-- +goose Up
-- The rates of work of a company. body is a message of pikepole.sequencing.v1 without its etag; version is
-- the etag.
CREATE TABLE work (
    company     TEXT   NOT NULL PRIMARY KEY,
    version     BIGINT NOT NULL,
    body        BLOB   NOT NULL,
    update_time BIGINT NOT NULL
);

CREATE TABLE replay (
    company     TEXT   NOT NULL,
    person      TEXT   NOT NULL,
    method      TEXT   NOT NULL,
    request_id  TEXT   NOT NULL,
    body_hash   TEXT   NOT NULL,
    response    BLOB   NOT NULL,
    create_time BIGINT NOT NULL,
    PRIMARY KEY (company, method, person, request_id)
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
