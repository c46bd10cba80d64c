-- +goose Up
CREATE TABLE company (
    id          TEXT   NOT NULL PRIMARY KEY,
    name        TEXT   NOT NULL,
    create_time BIGINT NOT NULL
);

-- roles holds the names of the roles between commas: 'lead,admin'.
CREATE TABLE person (
    company     TEXT   NOT NULL REFERENCES company (id),
    id          TEXT   NOT NULL,
    name        TEXT   NOT NULL,
    roles       TEXT   NOT NULL,
    disabled    BIGINT NOT NULL,
    version     BIGINT NOT NULL,
    create_time BIGINT NOT NULL,
    PRIMARY KEY (company, id)
);

-- hash is the SHA-256 of the whole key; last_used_time and revoke_time are 0 for never.
CREATE TABLE api_key (
    id             TEXT   NOT NULL PRIMARY KEY,
    company        TEXT   NOT NULL,
    person         TEXT   NOT NULL,
    label          TEXT   NOT NULL,
    hash           TEXT   NOT NULL,
    create_time    BIGINT NOT NULL,
    last_used_time BIGINT NOT NULL,
    revoke_time    BIGINT NOT NULL,
    FOREIGN KEY (company, person) REFERENCES person (company, id)
);
CREATE INDEX api_key_of_company ON api_key (company, id);

-- hash is the SHA-256 of the handle. api_key is the key that began the session, empty for a link.
CREATE TABLE session (
    hash        TEXT   NOT NULL PRIMARY KEY,
    company     TEXT   NOT NULL,
    person      TEXT   NOT NULL,
    api_key     TEXT   NOT NULL,
    csrf_token  TEXT   NOT NULL,
    create_time BIGINT NOT NULL,
    use_time    BIGINT NOT NULL,
    expire_time BIGINT NOT NULL,
    FOREIGN KEY (company, person) REFERENCES person (company, id)
);
CREATE INDEX session_of_person ON session (company, person);
CREATE INDEX session_by_end ON session (expire_time);

-- hash is the SHA-256 of the code.
CREATE TABLE sign_in_link (
    hash        TEXT   NOT NULL PRIMARY KEY,
    company     TEXT   NOT NULL,
    person      TEXT   NOT NULL,
    create_time BIGINT NOT NULL,
    expire_time BIGINT NOT NULL,
    FOREIGN KEY (company, person) REFERENCES person (company, id)
);
CREATE INDEX sign_in_link_of_person ON sign_in_link (company, person);
CREATE INDEX sign_in_link_by_end ON sign_in_link (expire_time);

-- private_key is the Ed25519 seed, as it is: whoever reads this table can sign tokens.
-- sequence numbers the keys without gaps, so that of two instances that add the next one only one can.
CREATE TABLE signing_key (
    sequence    BIGINT NOT NULL PRIMARY KEY,
    id          TEXT   NOT NULL,
    private_key BLOB   NOT NULL,
    start_time  BIGINT NOT NULL,
    create_time BIGINT NOT NULL
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
