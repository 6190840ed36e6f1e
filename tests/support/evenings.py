"""Weeks of practice whose truth is known, for the tests of progress.

They are from an evening class in Skarvehavn, a harbour town that is on no map. A night is good or
bad for all of its notes: that is what makes notes poor witnesses of each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from random import Random

import numpy as np

from trainer.coach import StepTable
from trainer.sound.devices import Device
from trainer.store import HarpTag, StepRecord, TakeRecord

TODAY = date(2026, 11, 25)


def step(entry: str, cents: float | None, /, **changes: object) -> StepRecord:
    """A step that was so far off, on a drill with a tolerance of 10 cents; None: not played."""
    if cents is None:
        return StepRecord(0, entry, "note", entry, "plain", 1.0, 0.0, {}, "not played")
    pitch = float(np.interp(abs(cents), (2.0, 10.0, 25.0, 50.0), (100.0, 85.0, 50.0, 0.0)))
    record = StepRecord(
        index=0,
        tab=entry,
        kind="note",
        entry=entry,
        care="plain",
        beats=1.0,
        score=pitch,
        parts={"pitch": pitch, "cleanness": 100.0},
        sentence="",
        heard=entry,
        cents=cents,
    )
    return replace(record, **changes)


def take(day: date, steps: Sequence[StepRecord], number: int = 0, **changes: object) -> TakeRecord:
    """A take of a day, a minute long."""
    began = datetime.combine(day, time(18, 0), UTC) + timedelta(minutes=number)
    record = TakeRecord(
        id=f"{changes.get('player', 'Runa')}-{day}-{number}",
        player="Runa",
        began=began,
        day=day,
        drill="mole-lights",
        title="Lights on the mole",
        skills=("half-step bends", "steadiness"),
        harp=HarpTag("C"),
        tempo=80.0,
        source="microphone",
        score=80.0,
        passed=True,
        whole=True,
        seconds=60.0,
        steps=tuple(replace(one, index=at) for at, one in enumerate(steps)),
    )
    return replace(record, **changes)


def evenings(
    seed: int, *, days: int, gain: float = 0.0, notes: int = 20, player: str = "Runa"
) -> list[TakeRecord]:
    """Daily takes up to today, on which each note comes `gain` cents a week nearer to its target.

    Args:
        seed: of chance.
        days: how many.
        gain: cents a week.
        notes: of each of the takes, two a day.
        player: who plays.
    """
    rng = Random(seed)
    usual = {"4": 4.0, "-4": 6.0, "-4'": 16.0, "-3''": 24.0, "2+3": 5.0, "-6'": 20.0}
    takes = []
    for back in reversed(range(days)):
        day = TODAY - timedelta(days=back)
        night = rng.gauss(0.0, 3.0)
        for number in range(2):
            steps = []
            for entry in rng.choices(list(usual), k=notes):
                off = max(1.0, usual[entry] + gain * back / 7.0)
                cents = night + rng.gauss(0.0, off)
                chord = {"kind": "chord", "entry": None} if "+" in entry else {}
                late = rng.gauss(12.0, 25.0)
                steps.append(step(entry, cents, late_ms=late, wobble_cents=3.0, **chord))
            takes.append(take(day, steps, number, player=player))
    return takes


def weeks_of(
    rng: np.random.Generator,
    after: Sequence[int],
    before: Sequence[int],
    *,
    ratio: float = 1.0,
    night: float = 5.0,
    notes: int = 24,
    entries: Sequence[float] = (12.0,),
    played: Sequence[Sequence[float]] | None = None,
) -> StepTable:
    """Steps of two weeks of one thing.

    Args:
        rng: chance.
        after, before: on which days, counted back from today, each week was played.
        ratio: how far off the later week is, as a share of the earlier.
        night: standard deviation in cents of what a night does to all of its notes.
        notes: a day.
        entries: standard deviation in cents of the notes of each tab entry.
        played: for the week before and the last, how often each entry is played; None is equally.
    """
    back = np.array([*before, *after])
    later = np.arange(len(back)) >= len(before)
    scale = np.repeat(np.where(later, ratio, 1.0), notes)
    share = [None, None] if played is None else [np.array(one) / sum(one) for one in played]
    what = np.concatenate(
        [rng.choice(len(entries), notes, p=share[int(one)]) for one in later]
    ).astype(np.int64)
    nights = np.repeat(rng.normal(0.0, night, len(back)), notes)
    cents = scale * (nights + rng.normal(0.0, 1.0, len(what)) * np.array(entries)[what])
    day = np.repeat(TODAY.toordinal() - back, notes).astype(np.int64)
    none = np.full(len(what), np.nan)
    values = {
        "cents": np.abs(cents),
        "bias_cents": cents,
        "in_tune": (np.abs(cents) <= 10.0).astype(float),
        **{
            name: none.copy()
            for name in ("wobble_cents", "clean", "leak_db", "off_ms", "late_ms", "score")
        },
        **{
            name: none.copy()
            for name in ("pitch", "steadiness", "attack", "motion", "cleanness", "time")
        },
    }
    return StepTable(day, np.zeros(len(what), dtype=np.int64), what, values)


def an_input(name: str, inputs: int = 1) -> Device:
    """A device as it is listed; without inputs, a loudspeaker."""
    return Device(0, name, "the desk", inputs, 2 if not inputs else 0, 48_000, False, False)
