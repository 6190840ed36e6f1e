"""A whole daily set in a real terminal, played by the built-in player."""

from __future__ import annotations

import os
import shlex
import sys
import tempfile
from dataclasses import asdict
from datetime import date
from pathlib import Path

import pytest

from tests.support.terminal import Terminal
from trainer.coach import Reason, SetEntry
from trainer.store import Journal

TABS = {"mole-lamp": "4:1 -4:1 5:2 |", "quay-rope": "6:1 -5:1 5:2 |", "sea-wall": "-4:1 4:1 -3:2 |"}


def drill_text(title: str, tab: str) -> str:
    return f'title = "{title}"\nabout = "For a quick look."\nharp = "C"\ntempo = 240\n' + (
        f'skills = ["single notes"]\ntab = """\n{tab}\n"""\n'
    )


def entry(name: str) -> dict[str, object]:
    title = name.replace("-", " ").capitalize()
    made = SetEntry(
        *(name, title, Reason.WARM_UP, "easy on the lips", "C", "richter"), 1, 2, 20.0, 80.0, None
    )
    return asdict(made)


@pytest.mark.needs_tmux
def test_a_whole_set_is_played(terminal: Terminal) -> None:
    with tempfile.TemporaryDirectory(prefix="set-") as folder:
        home = Path(folder)
        drills = home / "data" / "trainer" / "drills"
        drills.mkdir(parents=True)
        for name, tab in TABS.items():
            title = name.replace("-", " ").capitalize()
            (drills / f"{name}.toml").write_text(drill_text(title, tab))
        settings = home / "settings.toml"
        settings.write_text('[player]\nname = "Runa"\n')
        with Journal(home / "journal.sqlite") as journal:
            journal.save_daily_set("Runa", date.today(), 20.0, [entry(name) for name in TABS])
        env = {
            "XDG_DATA_HOME": str(home / "data"),
            "TRAINER_SETTINGS": str(settings),
            "TRAINER_JOURNAL": str(home / "journal.sqlite"),
            "PATH": os.environ["PATH"],
        }
        env["NO_COLOR"] = "1"  # colours are tested on each screen
        words = [f"{name}={value}" for name, value in env.items()]
        command = ["env", *words, sys.executable, "-m", "trainer", "--demo"]
        terminal.start(shlex.join(command), 100, 30)
        terminal.wait_for("3 of 3 to play")
        for number, name in enumerate(TABS):
            title = name.replace("-", " ").capitalize()
            terminal.keys("Space")
            terminal.wait_for(rf"{title} C harp .*of 100, passed")
            terminal.keys("n")
            left = len(TABS) - number - 1
            terminal.wait_for(f"{left} of 3 to play" if left else "all played")
            terminal.wait_for("✓")
        terminal.keys("Escape")
        terminal.wait_for("last pass")
        terminal.keys("g")
        # What the built-in player has played is no progress of the player.
        terminal.wait_for("The journal has no takes of Runa yet")
        terminal.keys("Escape")
        terminal.wait_for("last pass")
        terminal.keys("q")
        terminal.wait_for("exit code 0")
        with Journal(home / "journal.sqlite") as journal:
            takes = journal.takes(player="Runa")
        assert [take.drill for take in takes] == list(TABS)
        assert all(take.passed for take in takes)
