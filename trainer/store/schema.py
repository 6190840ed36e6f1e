"""The schema of the journal, as a list of migrations.

`MIGRATIONS[n]` upgrades a journal from version n to n + 1. A released migration never changes: a
new version is a new entry, and a journal of the version before it, with rows in every table, goes
into ``tests/journals`` as an SQL dump. A migration may hold any statements except transactions and
PRAGMA. It may rebuild tables: foreign keys are checked once, after the last migration.
"""

from __future__ import annotations

APPLICATION_ID = 0x48415250
"""SQLite application_id of every journal: "HARP" in ASCII."""

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE takes (
        id TEXT PRIMARY KEY,
        player TEXT NOT NULL,
        began TEXT NOT NULL,
        day TEXT NOT NULL,
        drill TEXT NOT NULL,
        title TEXT NOT NULL,
        skills TEXT NOT NULL,
        harp_key TEXT NOT NULL,
        harp_tuning TEXT NOT NULL,
        harp_a4 REAL NOT NULL,
        harp_temperament TEXT NOT NULL,
        harp_name TEXT,
        tempo REAL NOT NULL,
        source TEXT NOT NULL,
        score REAL NOT NULL,
        passed INTEGER NOT NULL,
        whole INTEGER NOT NULL,
        seconds REAL NOT NULL,
        extras TEXT NOT NULL,
        audio TEXT
    ) STRICT;
    CREATE INDEX takes_by_day ON takes (player, day);
    CREATE INDEX takes_by_drill ON takes (player, drill, began);
    CREATE TABLE steps (
        take TEXT NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
        idx INTEGER NOT NULL,
        tab TEXT NOT NULL,
        kind TEXT NOT NULL,
        entry TEXT,
        care TEXT NOT NULL,
        beats REAL NOT NULL,
        score REAL NOT NULL,
        parts TEXT NOT NULL,
        sentence TEXT NOT NULL,
        heard TEXT,
        cents REAL,
        wobble_cents REAL,
        drift_cents REAL,
        scoop_cents REAL,
        settle_ms REAL,
        leak_db REAL,
        leak_hole INTEGER,
        late_ms REAL,
        hz REAL,
        PRIMARY KEY (take, idx)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE harps (
        player TEXT NOT NULL,
        name TEXT NOT NULL,
        key TEXT NOT NULL,
        tuning TEXT NOT NULL,
        a4 REAL NOT NULL,
        temperament TEXT NOT NULL,
        measured TEXT NOT NULL,
        reeds TEXT NOT NULL,
        PRIMARY KEY (player, name, measured)
    ) STRICT;
    CREATE TABLE calibrations (
        input TEXT NOT NULL,
        output TEXT NOT NULL,
        rate INTEGER NOT NULL,
        latency_ms REAL NOT NULL,
        spread_ms REAL NOT NULL,
        measured TEXT NOT NULL,
        by_hand INTEGER NOT NULL,
        PRIMARY KEY (input, output, measured)
    ) STRICT;
    CREATE TABLE days (
        player TEXT NOT NULL,
        day TEXT NOT NULL,
        minutes REAL NOT NULL,
        entries TEXT NOT NULL,
        PRIMARY KEY (player, day)
    ) STRICT;
    """,
    "UPDATE steps SET care = 'blur' WHERE care = 'loose';",
    """
    CREATE TABLE focuses (
        player TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        since TEXT NOT NULL,
        until TEXT NOT NULL
    ) STRICT;
    CREATE TABLE placements (
        player TEXT NOT NULL,
        skill TEXT NOT NULL,
        level INTEGER NOT NULL,
        day TEXT NOT NULL,
        by_hand INTEGER NOT NULL,
        PRIMARY KEY (player, skill)
    ) STRICT;
    """,
    """
    ALTER TABLE takes ADD COLUMN first_bar INTEGER;
    ALTER TABLE takes ADD COLUMN last_bar INTEGER;
    ALTER TABLE takes ADD COLUMN tolerance REAL;
    """,
    "ALTER TABLE takes ADD COLUMN solos TEXT NOT NULL DEFAULT '[]';",
)
SCHEMA_VERSION = len(MIGRATIONS)
