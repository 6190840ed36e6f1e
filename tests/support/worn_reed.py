"""Weeks of practice on a harp whose reed goes flat on a known day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from trainer.harp import Harp, Tab, natural_entries
from trainer.store import HarpTag, OwnHarp, ReedRecord, StepRecord, TakeRecord

C = Harp.of("C")
REEDS = natural_entries(C)
FIRST = datetime(2026, 3, 2, 17, tzinfo=UTC)
DROPPED, DROP = 45, 9.0
"""The day from which on -5 is flat, and by how many cents."""


def step(index: int, tab: str, pitch: float, **changes: object) -> StepRecord:
    values: dict[str, object] = dict(
        index=index, tab=tab, kind="note", entry=tab, care="plain", beats=1.0, score=90.0,
        parts={}, sentence="", heard=tab, cents=0.0, wobble_cents=1.0, drift_cents=0.0,
        scoop_cents=-30.0, settle_ms=40.0, hz=pitch,
    )  # fmt: skip
    return StepRecord(**(values | changes))  # type: ignore[arg-type]


def evening(number: int, *, player: str = "Runa", **changes: object) -> TakeRecord:
    """A take on the harp ``quay``.

    Some of its steps are evidence about the reeds and some are not.
    """
    rng = np.random.default_rng(number)
    room = rng.normal(0.0, 3.0)
    began = FIRST + timedelta(days=number)
    steps = []
    for tab in REEDS[2:16]:
        flat = DROP if str(tab) == "-5" and number >= DROPPED else 0.0
        off = room + rng.normal(0.0, 1.5) - flat
        steps.append(step(len(steps), str(tab), C.hz(tab) * 2 ** (off / 1200)))
    bent = C.hz(Tab.parse("-4")) * 2 ** (-70 / 1200)
    for unfit in (
        {"wobble_cents": 15.0}, {"drift_cents": -60.0}, {"leak_db": -5.0}, {"settle_ms": None},
        {"settle_ms": 600.0}, {"kind": "glide"}, {"heard": "-4'"}, {"heard": None}, {"hz": None},
        {"kind": "chord", "entry": None},
    ):  # fmt: skip
        steps.append(step(len(steps), "-4", bent, **unfit))
    values: dict[str, object] = dict(
        id=f"{player}-{number}", player=player, began=began, day=began.date(), drill="slack-tide",
        title="Slack tide", skills=(), harp=HarpTag("C", name="quay"), tempo=80.0,
        source="microphone", score=80.0, passed=True, whole=True, seconds=30.0, steps=tuple(steps),
    )  # fmt: skip
    return TakeRecord(**(values | changes))  # type: ignore[arg-type]


def measured(when: datetime, off: float = 0.0) -> OwnHarp:
    reeds = tuple(ReedRecord(str(tab), C.hz(tab) * 2 ** (off / 1200)) for tab in REEDS)
    return OwnHarp("Runa", "quay", HarpTag("C", name="quay"), when, reeds)
