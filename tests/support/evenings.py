"""Weeks of practice whose truth is known, for the tests of progress.

They are from an evening class in Skarvehavn, a harbour town that is on no map. A night is good or
bad for all of its notes: that is what makes notes poor witnesses of each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any

import numpy as np

from trainer.coach import StepTable
from trainer.sound import Device
from trainer.store import HarpTag, StepRecord, TakeRecord

TODAY = date(2026, 11, 25)


def step(entry: str, cents: float | None, /, **changes: Any) -> StepRecord:
    """Make a record of a step with an offset in cents; None for a step that was not played.

    The drill's tolerance is 10 cents.
    """
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


def take(day: date, steps: Sequence[StepRecord], number: int = 0, **changes: Any) -> TakeRecord:
    """Make a record of a take of one minute."""
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
        steps=tuple(replace(record, index=index) for index, record in enumerate(steps)),
    )
    return replace(record, **changes)


def evenings(
    seed: int, *, days: int, gain: float = 0.0, notes: int = 20, player: str = "Runa"
) -> list[TakeRecord]:
    """Make two takes a day up to today; offsets shrink by `gain` cents a week.

    Args:
        seed: seed of the random generator.
        days: number of days.
        gain: improvement in cents a week.
        notes: notes of each take.
        player: name of the player.
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
    """Make the steps of two weeks of one subject.

    Args:
        rng: random generator.
        before: days of the week before the last, counted back from today.
        after: days of the last week, counted back from today.
        ratio: offsets of the last week relative to those of the week before.
        night: standard deviation of an offset common to all notes of a day, in cents.
        notes: notes a day.
        entries: standard deviation of the notes of each tab entry, in cents.
        played: frequency of each entry in the week before and the last; None for equal ones.
    """
    back = np.array([*before, *after])
    later = np.arange(len(back)) >= len(before)
    scale = np.repeat(np.where(later, ratio, 1.0), notes)
    share = (
        [None, None] if played is None else [np.array(counts) / sum(counts) for counts in played]
    )
    entry = np.concatenate(
        [rng.choice(len(entries), notes, p=share[int(week)]) for week in later]
    ).astype(np.int64)
    nights = np.repeat(rng.normal(0.0, night, len(back)), notes)
    cents = scale * (nights + rng.normal(0.0, 1.0, len(entry)) * np.array(entries)[entry])
    day = np.repeat(TODAY.toordinal() - back, notes).astype(np.int64)
    none = np.full(len(entry), np.nan)
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
    return StepTable(day, np.zeros(len(entry), dtype=np.int64), entry, values)


def an_input(name: str, inputs: int = 1) -> Device:
    """Make a listed device; without inputs, it is a loudspeaker."""
    return Device(0, name, "the desk", inputs, 2 if not inputs else 0, 48_000, False, False)
