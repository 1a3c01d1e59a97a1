BEGIN;
CREATE TABLE hist (tag varchar(20), ts timestamp, val numeric, st int);
INSERT INTO hist (tag, ts, val, st) VALUES ('AE-1', TIMESTAMP '2026-03-14 06:00:00', 7.0, 192), ('TE-1', '2026-03-14 06:00:00'::timestamp, 20.0, 192);
INSERT INTO hist (tag, ts, val, st) VALUES ('AE-1', TIMESTAMP '2026-03-14 06:10:00', 7.1, 192), ('TE-1', '2026-03-14 06:10:00'::timestamp, 20.5, 192);
INSERT INTO hist (tag, ts, val, st) VALUES ('AE-1', TIMESTAMP '2026-03-14 06:20:00', 7.2, 192), ('TE-1', '2026-03-14 06:20:00'::timestamp, 21.0, 192);
INSERT INTO hist (tag, ts, val, st) VALUES ('AE-1', TIMESTAMP '2026-03-14 06:30:00', 7.3, 192), ('TE-1', '2026-03-14 06:30:00'::timestamp, NULL, 0);
COMMIT;
