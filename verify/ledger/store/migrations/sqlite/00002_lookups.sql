-- +goose Up

-- Ledgers of layout 1 were made while it still grew. This gives all of them
-- the same indexes.
DROP INDEX IF EXISTS carried_release;
CREATE INDEX carried_release ON carried (model, version_key, vessel, device, at, card, good); -- all that audit release asks
DROP INDEX IF EXISTS reading_release;
CREATE INDEX reading_release ON reading (model, version_key, vessel, device, serial, at) WHERE version_key <> '';
DROP INDEX IF EXISTS vessel_imo;
CREATE INDEX vessel_imo ON vessel (imo) WHERE imo <> '';
DROP INDEX IF EXISTS vessel_mmsi;
CREATE INDEX vessel_mmsi ON vessel (mmsi) WHERE mmsi <> '';
DROP INDEX IF EXISTS vessel_hull;
CREATE INDEX vessel_hull ON vessel (hull) WHERE hull <> '';
