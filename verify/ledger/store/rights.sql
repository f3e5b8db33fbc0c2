REVOKE ALL ON ledger, goose_db_version, chain, event, arrival, witness FROM :van;
GRANT SELECT ON ledger, goose_db_version, chain, event, arrival, witness TO :van;
GRANT INSERT (writer, name) ON chain TO :van;
GRANT INSERT (id, chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature) ON event TO :van;
