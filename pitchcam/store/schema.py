"""The tables of the record. Measurements and corrections can be added, never changed or removed.

Every row of weight has a checksum of its other cells (``digest``). What could not be kept as a
measurement stands in ``attempt``: a photo that is to be tried again, or one whose row was damaged
and that was measured anew.
"""

from __future__ import annotations

import sqlite3

from pitchcam.store.digest import row_digest

#: Written to ``PRAGMA user_version``; raised with every change of the tables.
VERSION = 2

_CORRECTION = """
CREATE TABLE correction (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    measurement_id TEXT NOT NULL,
    thread_id TEXT NOT NULL,
    designation TEXT NOT NULL,
    who TEXT NOT NULL CHECK (who <> ''),
    why TEXT NOT NULL CHECK (why <> ''),
    made_at TEXT NOT NULL,
    digest TEXT NOT NULL
)"""
_CORRECTION_INDEX = "CREATE INDEX correction_by_measurement ON correction (measurement_id)"

_ATTEMPT = """
CREATE TABLE attempt (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    settings_key TEXT NOT NULL,
    status TEXT NOT NULL,
    document TEXT,
    code TEXT NOT NULL,
    message TEXT NOT NULL,
    advice TEXT NOT NULL,
    lasting INTEGER NOT NULL,
    digest TEXT NOT NULL
)"""
_ATTEMPT_INDEX = "CREATE INDEX attempt_by_id ON attempt (id, number)"

_TABLES = (
    """
CREATE TABLE settings (
    key TEXT PRIMARY KEY,
    text TEXT NOT NULL
) WITHOUT ROWID""",
    """
CREATE TABLE measurement (
    id TEXT PRIMARY KEY,
    sha256 TEXT NOT NULL,
    settings_key TEXT NOT NULL REFERENCES settings (key),
    status TEXT NOT NULL CHECK (status IN ('measured', 'refused', 'failed')),
    document TEXT,
    code TEXT NOT NULL,
    message TEXT NOT NULL,
    advice TEXT NOT NULL,
    digest TEXT NOT NULL,
    UNIQUE (sha256, settings_key)
)""",
    """
CREATE TABLE thumbnail (
    measurement_id TEXT NOT NULL,
    part INTEGER NOT NULL,
    jpeg BLOB NOT NULL,
    digest TEXT NOT NULL,
    PRIMARY KEY (measurement_id, part)
)""",
    """
CREATE TABLE photo_name (
    sha256 TEXT NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (sha256, name)
) WITHOUT ROWID""",
    _CORRECTION,
    _CORRECTION_INDEX,
    _ATTEMPT,
    _ATTEMPT_INDEX,
)

#: Tables that nothing is taken from, and what no second row may have in common with the first.
_KEYS = {
    "settings": "key = NEW.key",
    "measurement": "id = NEW.id OR (sha256 = NEW.sha256 AND settings_key = NEW.settings_key)",
    "thumbnail": "measurement_id = NEW.measurement_id AND part = NEW.part",
    "correction": "number = NEW.number",
    "attempt": "number = NEW.number",
}


def guards(keys: dict[str, str], what: str = "the record") -> list[str]:
    """Return triggers by which SQLite itself refuses to change, remove or replace a row.

    'Insert or replace' removes the older row without asking the triggers for removal, so a second
    row of the same key is refused before it comes to that.
    """
    said = f"SELECT RAISE(ABORT, '{what} is never overwritten')"
    out = []
    for table, same in keys.items():
        out += [
            f"CREATE TRIGGER IF NOT EXISTS {table}_keeps_{verb} BEFORE {verb} ON {table} "
            f"BEGIN {said}; END"
            for verb in ("UPDATE", "DELETE")
        ]
        out.append(
            f"CREATE TRIGGER IF NOT EXISTS {table}_keeps_INSERT BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN {said}; END"
        )
    return out


def make(db: sqlite3.Connection) -> None:
    """Make the tables, inside the caller's transaction."""
    for statement in (*_TABLES, *guards(_KEYS), f"PRAGMA user_version = {VERSION}"):
        db.execute(statement)


def upgrade(db: sqlite3.Connection) -> None:
    """Bring tables of version 1 to this one, inside the caller's transaction.

    Rows get the checksum of what they hold now.
    """
    db.create_function("row_digest", -1, row_digest, deterministic=True)
    for table in ("settings", "measurement", "thumbnail", "correction"):
        for verb in ("UPDATE", "DELETE"):
            db.execute(f"DROP TRIGGER IF EXISTS {table}_keeps_{verb}")
    cells = {
        "measurement": "id, sha256, settings_key, status, document, code, message, advice",
        "thumbnail": "measurement_id, part, jpeg",
    }
    for table, of_row in cells.items():
        db.execute(f"ALTER TABLE {table} ADD COLUMN digest TEXT NOT NULL DEFAULT ''")
        db.execute(f"UPDATE {table} SET digest = row_digest({of_row})")
    # Corrections may now belong to attempts as well, so their reference is given up.
    db.execute("ALTER TABLE correction RENAME TO correction_1")
    db.execute("DROP INDEX correction_by_measurement")
    db.execute(_CORRECTION)
    of_row = "measurement_id, thread_id, designation, who, why, made_at"
    db.execute(
        f"INSERT INTO correction (number, {of_row}, digest) "
        f"SELECT number, {of_row}, row_digest({of_row}) FROM correction_1"
    )
    db.execute("DROP TABLE correction_1")
    for statement in (_CORRECTION_INDEX, _ATTEMPT, _ATTEMPT_INDEX, *guards(_KEYS)):
        db.execute(statement)
    db.execute(f"PRAGMA user_version = {VERSION}")
