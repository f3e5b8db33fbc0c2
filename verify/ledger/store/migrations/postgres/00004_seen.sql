-- +goose Up

-- What writers had seen of one another's chains, as the events say it.
CREATE TABLE seen (
    chain TEXT COLLATE "C" NOT NULL, -- digest of writer and chain, 16 hex digits
    other TEXT COLLATE "C" NOT NULL,
    seq   BIGINT NOT NULL, -- from this place on
    upto  BIGINT NOT NULL, -- the other chain was seen up to this place
    PRIMARY KEY (chain, other, seq)
);

-- When events came in: those from this number on, up to the next row's.
CREATE TABLE arrival (
    no BIGINT PRIMARY KEY,
    at TEXT COLLATE "C" NOT NULL
);

ALTER TABLE reading ADD COLUMN by_hand BIGINT NOT NULL DEFAULT 0; -- 1: a person gave the time
ALTER TABLE reading ADD COLUMN lost BIGINT NOT NULL DEFAULT 0; -- 1: a step failed, and nobody read what it left
