"""Make the files that a version of the trainer leaves behind, for later versions to open.

    git worktree add ../old COMMIT
    PYTHONPATH=../old python devtools/version_fixtures.py tests/versions/COMMIT

The commands of that version make a journal, settings, a drill and a saved take.
`tests/store/test_versions.py` opens them with the present code. Make a folder for each version
whose formats may be in use; the files of old versions stay as they are.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

DRILL = """\
title = "Two notes at the quay"
about = "Fixture: every version must read it."
harp = "C"
tempo = 300
skills = ["single notes"]
meter = "2/4"
tab = "4:1 -4:1 |"

[goal]
tolerance = 12
"""
SETTINGS = (
    ("player.name", "Marit"),
    ("harp.key", "A"),
    ("harp.temperament", "just5"),
    ("practice.minutes", "25"),
    ("screen.motion", "reduced"),
)
MARKED = 2
"""How often the saved take is marked into the journal."""


def make(folder: Path) -> None:
    """Make the files in a folder."""
    folder.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("TRAINER_", "XDG_"))}
        env = {
            **kept,
            "HOME": name,
            "TRAINER_JOURNAL": str(home / "journal.sqlite"),
            "PYTHONPATH": os.environ.get("PYTHONPATH", ""),
        }

        def trainer(*words: str) -> str:
            done = subprocess.run(
                [sys.executable, "-m", "trainer", *words],
                env=env,
                cwd=home,
                capture_output=True,
                text=True,
            )
            if done.returncode:
                raise SystemExit(f"trainer {' '.join(words)}: {done.stdout}{done.stderr}")
            return done.stdout

        for key, value in SETTINGS:
            trainer("settings", "set", key, value)
        (home / "quay.toml").write_text(DRILL, "utf-8")
        take = home / "take.flac"
        play = ("play", "./quay.toml", "--harp", "C", "--count-in", "1", "--player", "--plain")
        trainer(*play, "--save", str(take))
        for _ in range(MARKED):
            trainer("mark", str(take), "--drill", "./quay.toml", "--player", "Marit")
        shutil.copy(home / "quay.toml", folder)
        shutil.copy(take, folder)
        shutil.copy(trainer("settings", "path").strip(), folder / "settings.toml")
        (folder / "journal.jsonl").write_text(trainer("journal", "export"), "utf-8")
        with closing(sqlite3.connect(home / "journal.sqlite")) as db:
            pragmas = ("application_id", "user_version")
            heads = [f"PRAGMA {n} = {db.execute(f'PRAGMA {n}').fetchone()[0]};" for n in pragmas]
            (folder / "journal.sql").write_text("\n".join([*heads, *db.iterdump()]) + "\n", "utf-8")


if __name__ == "__main__":
    make(Path(sys.argv[1]))
