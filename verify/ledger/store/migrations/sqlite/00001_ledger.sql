-- +goose Up

-- This file is the whole ledger of one shop, or of one van.
CREATE TABLE ledger (
    one    INTEGER PRIMARY KEY CHECK (one = 1),
    id     TEXT NOT NULL, -- by chance; names this ledger at a sync
    format INTEGER NOT NULL
) STRICT;

CREATE TABLE chain (
    no     INTEGER PRIMARY KEY,
    writer TEXT NOT NULL,
    name   TEXT NOT NULL,
    own    INTEGER NOT NULL, -- 1: events are appended to it here
    UNIQUE (writer, name)
) STRICT;

-- Content and signature are the event; the other columns are taken from the
-- content, for looking up, and "ledger check" compares them.
CREATE TABLE event (
    no         INTEGER PRIMARY KEY, -- in order of arrival here
    id         BLOB NOT NULL UNIQUE,
    chain      INTEGER NOT NULL REFERENCES chain (no),
    seq        INTEGER NOT NULL,
    ord        BLOB NOT NULL, -- place in time among all events
    at         TEXT NOT NULL,
    kind       TEXT NOT NULL,
    vessel     TEXT NOT NULL,
    visit      TEXT NOT NULL,
    berth      TEXT NOT NULL,
    technician TEXT NOT NULL,
    card       TEXT NOT NULL, -- digest of the card that was made, read or used
    target     TEXT NOT NULL,
    corrects   BLOB,          -- id of the event that this one corrects
    content    TEXT NOT NULL,
    signature  BLOB NOT NULL
) STRICT;
CREATE INDEX event_chain ON event (chain, seq);
CREATE INDEX event_vessel ON event (vessel, ord);
CREATE INDEX event_visit ON event (visit) WHERE kind = 'visit begun';
CREATE INDEX event_card ON event (card) WHERE card <> '';
CREATE INDEX event_target ON event (target) WHERE target <> '';
CREATE INDEX event_corrects ON event (corrects) WHERE corrects IS NOT NULL;
CREATE INDEX event_withdrawn ON event (kind) WHERE kind = 'release withdrawn';
CREATE INDEX event_open ON event (vessel) WHERE kind IN ('step failed', 'step put off', 'check failed', 'check not done');

-- +goose StatementBegin
CREATE TRIGGER event_stays BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'an event is never changed: correct it by a new one'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER event_remains BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'an event is never removed: correct it by a new one'); END;
-- +goose StatementEnd

-- What the events that stand say about vessels, versions and cards.
CREATE TABLE sighting (
    event  INTEGER PRIMARY KEY REFERENCES event (no),
    ord    BLOB NOT NULL,
    vessel TEXT NOT NULL,
    name   TEXT NOT NULL,
    berth  TEXT NOT NULL,
    imo    TEXT NOT NULL,
    mmsi   TEXT NOT NULL,
    hull   TEXT NOT NULL
) STRICT;
CREATE INDEX sighting_vessel ON sighting (vessel, ord);

CREATE TABLE reading (
    vessel      TEXT NOT NULL,
    device      TEXT NOT NULL,
    ord         BLOB NOT NULL,
    event       INTEGER NOT NULL REFERENCES event (no),
    at          TEXT NOT NULL,
    writer      TEXT NOT NULL,
    kind        TEXT NOT NULL, -- of device
    maker       TEXT NOT NULL,
    model       TEXT NOT NULL,
    name        TEXT NOT NULL,
    place       TEXT NOT NULL,
    serial      TEXT NOT NULL,
    variant     TEXT NOT NULL,
    version     TEXT NOT NULL,
    version_key TEXT NOT NULL, -- equal for versions that compare as equal
    before      TEXT NOT NULL,
    installed   INTEGER NOT NULL, -- 1: a step brought it; 0: it was only read
    gone        INTEGER NOT NULL,
    PRIMARY KEY (vessel, device, ord)
) STRICT, WITHOUT ROWID;
CREATE INDEX reading_event ON reading (event);
CREATE INDEX reading_release ON reading (model, version_key, vessel, device, serial, at) WHERE version_key <> '';

CREATE TABLE carried (
    event       INTEGER NOT NULL REFERENCES event (no),
    place       INTEGER NOT NULL, -- in the list of the card's releases, from 0
    at          TEXT NOT NULL,
    vessel      TEXT NOT NULL,
    card        TEXT NOT NULL,
    device      TEXT NOT NULL,
    maker       TEXT NOT NULL,
    model       TEXT NOT NULL,
    variant     TEXT NOT NULL,
    version     TEXT NOT NULL,
    version_key TEXT NOT NULL,
    good        INTEGER NOT NULL, -- 1: the card was read back and called good
    PRIMARY KEY (event, place)
) STRICT, WITHOUT ROWID;
CREATE INDEX carried_release ON carried (model, version_key, vessel, device, at, card, good); -- all that audit release asks
CREATE INDEX carried_vessel ON carried (vessel, model, version_key, good, card);

-- What that comes to, for each vessel and device.
CREATE TABLE vessel (
    vessel TEXT PRIMARY KEY,
    name   TEXT NOT NULL,
    berth  TEXT NOT NULL,
    imo    TEXT NOT NULL,
    mmsi   TEXT NOT NULL,
    hull   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX vessel_imo ON vessel (imo) WHERE imo <> '';
CREATE INDEX vessel_mmsi ON vessel (mmsi) WHERE mmsi <> '';
CREATE INDEX vessel_hull ON vessel (hull) WHERE hull <> '';

CREATE TABLE device (
    vessel      TEXT NOT NULL,
    device      TEXT NOT NULL,
    event       INTEGER NOT NULL REFERENCES event (no), -- the reading that counts
    at          TEXT NOT NULL,
    kind        TEXT NOT NULL,
    maker       TEXT NOT NULL,
    model       TEXT NOT NULL,
    name        TEXT NOT NULL,
    place       TEXT NOT NULL,
    serial      TEXT NOT NULL,
    variant     TEXT NOT NULL,
    version     TEXT NOT NULL,
    version_key TEXT NOT NULL,
    other       TEXT NOT NULL, -- what a second writer read at about the same time
    gone        INTEGER NOT NULL,
    PRIMARY KEY (vessel, device)
) STRICT, WITHOUT ROWID;
CREATE INDEX device_release ON device (model, version_key, vessel);

-- Heads that were seen elsewhere, or saved: a tail that is missing here shows
-- against them.
CREATE TABLE witness (
    ledger TEXT NOT NULL,
    writer TEXT NOT NULL,
    chain  TEXT NOT NULL,
    seq    INTEGER NOT NULL,
    id     BLOB NOT NULL,
    taken  TEXT NOT NULL,
    PRIMARY KEY (ledger, writer, chain)
) STRICT, WITHOUT ROWID;
