-- +goose Up
-- A company's rules of the stand check, and the lumber, fastenings and anchors that it braces with. body is a
-- message of pikepole.sequencing.v1 without its etag; version is the etag.
CREATE TABLE stand_rules (
    company     TEXT   NOT NULL PRIMARY KEY,
    version     BIGINT NOT NULL,
    body        BLOB   NOT NULL,
    update_time BIGINT NOT NULL
);

CREATE TABLE brace_stock (
    company     TEXT   NOT NULL PRIMARY KEY,
    version     BIGINT NOT NULL,
    body        BLOB   NOT NULL,
    update_time BIGINT NOT NULL
);
