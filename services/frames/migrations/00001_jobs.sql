-- +goose Up
CREATE TABLE job (
    company         TEXT    NOT NULL,
    id              TEXT    NOT NULL,
    title           TEXT    NOT NULL,
    customer        TEXT    NOT NULL,
    stage           BIGINT  NOT NULL,
    crane           TEXT    NOT NULL,
    site            BLOB    NOT NULL,
    latest_revision BIGINT  NOT NULL,
    version         BIGINT  NOT NULL,
    create_time     BIGINT  NOT NULL,
    update_time     BIGINT  NOT NULL,
    PRIMARY KEY (company, id)
);
CREATE INDEX job_newest ON job (company, create_time, id);

CREATE TABLE frame (
    company     TEXT    NOT NULL,
    job         TEXT    NOT NULL,
    revision    BIGINT  NOT NULL,
    digest      TEXT    NOT NULL,
    author      TEXT    NOT NULL,
    note        TEXT    NOT NULL,
    create_time BIGINT  NOT NULL,
    body        BLOB    NOT NULL,
    PRIMARY KEY (company, job, revision),
    FOREIGN KEY (company, job) REFERENCES job (company, id)
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
