"""The tables of the record. Measurements and corrections can be added, never changed or removed."""

from __future__ import annotations

#: Written to ``PRAGMA user_version``; raised with every change of the tables.
VERSION = 1

TABLES = """
CREATE TABLE settings (
    key TEXT PRIMARY KEY,
    text TEXT NOT NULL
) WITHOUT ROWID;

CREATE TABLE measurement (
    id TEXT PRIMARY KEY,
    sha256 TEXT NOT NULL,
    settings_key TEXT NOT NULL REFERENCES settings (key),
    status TEXT NOT NULL CHECK (status IN ('measured', 'refused', 'failed')),
    document TEXT,
    code TEXT NOT NULL,
    message TEXT NOT NULL,
    advice TEXT NOT NULL,
    UNIQUE (sha256, settings_key)
);

CREATE TABLE thumbnail (
    measurement_id TEXT NOT NULL REFERENCES measurement (id),
    part INTEGER NOT NULL,
    jpeg BLOB NOT NULL,
    PRIMARY KEY (measurement_id, part)
);

CREATE TABLE photo_name (
    sha256 TEXT NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (sha256, name)
) WITHOUT ROWID;

CREATE TABLE correction (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    measurement_id TEXT NOT NULL REFERENCES measurement (id),
    thread_id TEXT NOT NULL,
    designation TEXT NOT NULL,
    who TEXT NOT NULL CHECK (who <> ''),
    why TEXT NOT NULL CHECK (why <> ''),
    made_at TEXT NOT NULL
);
CREATE INDEX correction_by_measurement ON correction (measurement_id);
"""

_GUARD = """
CREATE TRIGGER {table}_keeps_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'the record is never overwritten'); END;
"""

GUARDS = "".join(
    _GUARD.format(table=table, verb=verb)
    for table in ("settings", "measurement", "thumbnail", "correction")
    for verb in ("UPDATE", "DELETE")
)

SCRIPT = f"BEGIN IMMEDIATE;{TABLES}{GUARDS}PRAGMA user_version = {VERSION};COMMIT;"
