-- +goose Up

-- What writers had seen of one another's chains, as the events say it.
CREATE TABLE seen (
    chain TEXT NOT NULL, -- digest of writer and chain, 16 hex digits
    other TEXT NOT NULL,
    seq   INTEGER NOT NULL, -- from this place on
    upto  INTEGER NOT NULL, -- the other chain was seen up to this place
    PRIMARY KEY (chain, other, seq)
) STRICT, WITHOUT ROWID;

-- When events came in: those from this number on, up to the next row's.
CREATE TABLE arrival (
    no INTEGER PRIMARY KEY,
    at TEXT NOT NULL
) STRICT;

ALTER TABLE reading ADD COLUMN by_hand INTEGER NOT NULL DEFAULT 0; -- 1: a person gave the time
ALTER TABLE reading ADD COLUMN lost INTEGER NOT NULL DEFAULT 0; -- 1: a step failed, and nobody read what it left
