"""A demo journal: five weeks of takes and one harp, for pictures of screens that read a journal.

The player, Marit, goes to the evening class in Skarvehavn; both are invented. Her measurements are
drawn from a seeded random generator and improve over the weeks. The real marker marks them.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta

from trainer.drill import Drill, Step, find_drill
from trainer.harp import Harp, Tab
from trainer.marking import Mark, Measured, Result, make_mark, pass_score
from trainer.store import HarpTag, OwnHarp, ReedRecord, TakeRecord

PLAYER = "Marit"
WARM_UPS = ("long-level-tones", "first-clean-notes")
DRILLS = ("half-step-on-four", "harbour-bell")
DAYS = 35
"""Length of the journal in days."""
DAYS_PER_REST = 6
"""Every sixth day has no takes."""
FIRST_OFFSET_CENTS = 34.0
"""Scale of a bend's offset on the first day, in cents; that of other notes is a third of it."""
REMAINING_SHARE = 0.15
"""Share of that offset on the last day."""
SPREAD_CENTS = 2.0
"""Standard deviation of an offset, in cents."""
HARP_SPREAD_CENTS = 3.0
"""Standard deviation of the harp's reeds, in cents."""
WORN_REED, WORN_CENTS = "-5", -19.0
"""The worn reed and its offset in cents."""


def demo_takes(today: date) -> Iterator[TakeRecord]:
    """Yield the takes of all days before `today`."""
    noise = random.Random(7)
    for days_ago in range(DAYS, 0, -1):
        if days_ago % DAYS_PER_REST == 0:
            continue
        day = today - timedelta(days=days_ago)
        share = REMAINING_SHARE + (1.0 - REMAINING_SHARE) * days_ago / DAYS
        for number, name in enumerate((noise.choice(WARM_UPS), *DRILLS)):
            began = datetime.combine(day, time(18, 5 * number), UTC)
            yield _take(find_drill(name), share, began, noise)


def demo_harp(today: date) -> OwnHarp:
    """Return the player's harp as measured three weeks before `today`, with a worn draw 5."""
    noise = random.Random(11)
    harp = Harp.of("C")
    reeds = []
    for tab in (Tab.parse(f"{breath}{hole}") for hole in range(1, 11) for breath in ("", "-")):
        worn = str(tab) == WORN_REED
        offset = WORN_CENTS if worn else noise.gauss(0.0, HARP_SPREAD_CENTS)
        reeds.append(ReedRecord(str(tab), harp.hz(tab) * 2.0 ** (offset / 1200.0), 1.0))
    when = datetime.combine(today - timedelta(days=21), time(17, 30), UTC)
    return OwnHarp(PLAYER, "old C", HarpTag.of(harp, "old C"), when, tuple(reeds))


def _take(drill: Drill, share: float, began: datetime, noise: random.Random) -> TakeRecord:
    beat_ms = 60_000.0 / drill.tempo
    marks = tuple(_mark(step, drill, share, beat_ms, noise) for step in drill.steps)
    score = pass_score(drill, marks)
    harp = Harp.of(drill.key, drill.tuning)
    passed = score >= drill.goal.pass_mark
    result = Result(drill, harp.name, drill.tempo, marks, score, passed)
    return TakeRecord.of(result, harp, player=PLAYER, began=began, source="microphone")


def _mark(step: Step, drill: Drill, share: float, beat_ms: float, noise: random.Random) -> Mark:
    bent = any(tab.bend for sound in step.sounds for tab in sound)
    offset = FIRST_OFFSET_CENTS * share / (1 if bent else 3)
    cents = noise.gauss(-offset / 2, SPREAD_CENTS)
    leak = noise.choice((None, None, None, -10.0 - 20.0 * (1.0 - share)))
    measured = Measured(
        start=0,
        end=1,
        cents=cents,
        wobble_cents=noise.uniform(1.0, 2.0 + offset / 5),
        drift_cents=noise.gauss(0.0, offset / 5),
        scoop_cents=noise.gauss(0.0, offset),
        settle_ms=noise.uniform(40.0, 60.0 + 4 * offset),
        late_ms=noise.gauss(10.0, 12.0 + offset),
        leak_db=leak,
        leak_hole=None if leak is None else max(1, step.last[0].hole - 1),
        holes=tuple(tab.hole for tab in step.last),
        heard=step.tab,
    )
    return make_mark(step, measured, drill.goal, beat_ms)
