-- +goose Up

-- A server keeps events and nothing that is worked out from them: whoever asks
-- works that out beside it, from the events that hold. So nobody needs a right to
-- change anything here.
DROP TABLE device, vessel, carried, reading, sighting, seen;

-- Nobody says by hand which number an event gets, which chain is appended to here,
-- or when an event came in.
ALTER TABLE chain ALTER COLUMN own SET DEFAULT 0;
-- +goose StatementBegin
CREATE FUNCTION event_arrives() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    EXECUTE format('INSERT INTO %I.arrival (no, at) SELECT min(no), to_char(clock_timestamp() AT TIME ZONE ''UTC'', ''YYYY-MM-DD"T"HH24:MI:SS"Z"'')
        FROM added HAVING min(no) IS NOT NULL ON CONFLICT (no) DO NOTHING', TG_TABLE_SCHEMA);
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER event_arrives AFTER INSERT ON event
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION event_arrives();

-- Whoever writes waits for whoever writes already, so that numbers are in the order
-- of commits: a reader that has seen one has seen all before it.
-- +goose StatementBegin
CREATE FUNCTION event_waits() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtext('cardwright ledger ' || TG_TABLE_SCHEMA));
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER event_waits BEFORE INSERT ON event FOR EACH STATEMENT EXECUTE FUNCTION event_waits();
