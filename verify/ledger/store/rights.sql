GRANT SELECT ON ledger, goose_db_version TO :van;
GRANT SELECT, INSERT ON event, seen, arrival TO :van;
GRANT SELECT, INSERT, UPDATE (own) ON chain TO :van;
GRANT SELECT, INSERT, DELETE ON sighting, reading, carried TO :van;
GRANT SELECT, INSERT, UPDATE, DELETE ON vessel, device, witness TO :van;
