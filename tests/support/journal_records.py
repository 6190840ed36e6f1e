"""Takes, harps and round trips for tests of the journal: all of one follows from its name.

They are from an evening class in Skarvehavn, a harbour town that is on no map.
"""

from __future__ import annotations

import os
import signal
import sys
import traceback
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from uuid import UUID

from trainer.drill import CRITERIA
from trainer.store import (
    Calibration,
    HarpTag,
    Journal,
    OwnHarp,
    ReedRecord,
    StepRecord,
    TakeRecord,
)

FIRST = datetime(2026, 9, 1, 17, 0, tzinfo=UTC)
PLAYERS = ("Marit", "Jorun", "Ødger")
DRILLS = {
    "mole-lights": ("Lights on the mole", ("half-step bends", "time")),
    "slack-tide": ("Slack tide", ("single notes",)),
}
TABS = ("4", "-4", "-4'", "-3''", "6", "6o")


def new_id(number: int) -> str:
    """The id of a numbered take."""
    return UUID(int=Random(number).getrandbits(128), version=4).hex


def take(id_: str, **changes: object) -> TakeRecord:
    """The take of an id."""
    rng = Random(id_)
    drill = rng.choice(sorted(DRILLS))
    title, skills = DRILLS[drill]
    began = FIRST + timedelta(seconds=rng.randrange(80 * 86_400), microseconds=rng.randrange(10**6))
    score = round(rng.uniform(20, 100), 6)
    values = dict(
        id=id_,
        player=rng.choice(PLAYERS),
        began=began,
        day=began.date(),
        drill=drill,
        title=title,
        skills=skills,
        harp=HarpTag(rng.choice("CAG"), name=rng.choice([None, "old C"])),
        tempo=rng.choice([60.0, 72.5, 90.0]),
        source="microphone",
        score=score,
        passed=score >= 70,
        whole=rng.random() < 0.8,
        seconds=rng.uniform(10, 60),
        steps=tuple(step(rng, index) for index in range(rng.randrange(1, 30))),
        extras=("a -3 that nothing asked for, after step 2",) * rng.randrange(2),
    )
    return TakeRecord(**(values | changes))  # type: ignore[arg-type]


def step(rng: Random, index: int) -> StepRecord:
    """A step, heard or not."""
    tab = rng.choice(TABS)
    parts = {part: rng.uniform(0, 100) for part in CRITERIA if rng.random() < 0.8}
    cents = rng.gauss(0, 15)
    figures = dict(
        heard=tab,
        cents=cents,
        wobble_cents=abs(rng.gauss(0, 3)),
        drift_cents=rng.gauss(0, 3),
        scoop_cents=rng.gauss(-20, 10),
        settle_ms=rng.choice([None, 35.0]),
        leak_db=-12.5,
        leak_hole=3,
        late_ms=rng.gauss(0, 20),
        hz=440.0 * 2 ** (cents / 1200),
    )
    return StepRecord(
        index=index,
        tab=tab,
        kind="note",
        entry=tab,
        care=rng.choice(["plain", "clean"]),
        beats=rng.choice([0.5, 1.0, 1 / 3]),
        score=rng.uniform(0, 100),
        parts=parts,
        sentence=f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}",
        **(figures if parts else {}),  # type: ignore[arg-type]
    )


def harp(number: int, player: str = "Marit") -> OwnHarp:
    """A numbered measurement of the harp called ``old C``."""
    rng = Random(number)
    reeds = tuple(
        ReedRecord(tab, 440.0 * 2 ** rng.uniform(-1, 1), rng.uniform(0, 4)) for tab in TABS[:2]
    )
    tag = HarpTag("C", a4=442.0, name="old C")
    return OwnHarp(player, "old C", tag, FIRST + timedelta(days=number), reeds)


def calibration(number: int) -> Calibration:
    """A numbered measurement of one pair of devices."""
    ms = Random(number).uniform(10, 60)
    return Calibration("USB", "hall", 48_000, ms, 0.25, FIRST + timedelta(hours=number))


def numbered(count: int) -> Iterator[TakeRecord]:
    """That many takes, no two on one moment."""
    for number in range(count):
        began = FIRST + timedelta(minutes=97 * number)
        yield take(new_id(number), began=began, day=date(began.year, began.month, began.day))


def nursery() -> None:
    """Start a process for each line of standard input, and print their numbers.

    A line names a journal and a file: the process adds takes to the journal without end, and writes
    the id of each stored take to the file.
    """
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody asks how they ended
    for line in sys.stdin:
        path, ids = map(Path, line.rstrip("\n").split("\t"))
        pid = os.fork()
        if not pid:
            try:
                _add(path, ids)
            finally:
                traceback.print_exc()
                os._exit(1)
        print(pid, flush=True)


def _add(path: Path, ids: Path) -> None:
    with Journal(path) as journal, ids.open("ab", buffering=0) as file:
        while True:
            record = take(os.urandom(16).hex())
            journal.add(record)
            file.write(f"{record.id}\n".encode())
