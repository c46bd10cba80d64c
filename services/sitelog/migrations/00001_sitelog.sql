-- +goose Up
-- position is that of the job's newest entry. Its row is locked by whoever appends, so positions have no gaps and become
-- visible in their order.
CREATE TABLE job_log (
    company  TEXT   NOT NULL,
    job      TEXT   NOT NULL,
    position BIGINT NOT NULL,
    PRIMARY KEY (company, job)
);

-- Entries are never changed and never deleted. digest names what the client said; marks stand one to a line.
CREATE TABLE entry (
    company       TEXT   NOT NULL,
    job           TEXT   NOT NULL,
    position      BIGINT NOT NULL,
    id            TEXT   NOT NULL,
    digest        TEXT   NOT NULL,
    kind          BIGINT NOT NULL,
    occur_time    BIGINT NOT NULL,
    marks         TEXT   NOT NULL,
    assembly      TEXT   NOT NULL,
    move          BIGINT NOT NULL,
    revision      BIGINT NOT NULL,
    cause         BIGINT NOT NULL,
    delay_minutes BIGINT NOT NULL,
    note          TEXT   NOT NULL,
    corrects      TEXT   NOT NULL,
    author        TEXT   NOT NULL,
    accept_time   BIGINT NOT NULL,
    PRIMARY KEY (company, job, position)
);
CREATE UNIQUE INDEX entry_by_id ON entry (company, job, id);
CREATE INDEX entry_by_time ON entry (company, job, occur_time, position);

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
