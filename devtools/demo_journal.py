"""Five weeks of Marit's and a harp of hers, for the pictures of screens that read the journal.

She goes to the evening class in Skarvehavn, a harbour town that is on no map. What she played is
made up, by chance that is the same each time; its marks are those that it would earn.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta

from trainer.drill import Drill, Step, find_drill
from trainer.harp import Harp, Tab
from trainer.marking import Mark, Measured, Result, make_mark, total_score
from trainer.store import HarpTag, OwnHarp, ReedRecord, TakeRecord

PLAYER = "Marit"
WARM_UPS = ("long-level-tones", "first-clean-notes")
DRILLS = ("half-step-on-four", "harbour-bell")
DAYS = 35
OFF_DAYS = 6
"""Every so many days she does not play."""
OFF_CENTS, LEARNT = 34.0, 0.15
"""How far off a bend was when she began, and what is left of that now; other notes: a third."""

SPREAD_CENTS = 2.0


def demo_takes(today: date) -> Iterator[TakeRecord]:
    """Her takes up to the evening before."""
    chance = random.Random(7)
    for back in range(DAYS, 0, -1):
        if back % OFF_DAYS == 0:
            continue
        day = today - timedelta(days=back)
        left = LEARNT + (1.0 - LEARNT) * back / DAYS
        for number, name in enumerate((chance.choice(WARM_UPS), *DRILLS)):
            began = datetime.combine(day, time(18, 5 * number), UTC)
            yield _take(find_drill(name), left, began, chance)


def demo_harp(today: date) -> OwnHarp:
    """Her harp as it was measured three weeks ago; draw 5 is tired."""
    chance = random.Random(11)
    harp = Harp.of("C")
    reeds = []
    for tab in (Tab.parse(f"{breath}{hole}") for hole in range(1, 11) for breath in ("", "-")):
        off = -19.0 if str(tab) == "-5" else chance.gauss(0.0, 3.0)
        reeds.append(ReedRecord(str(tab), harp.hz(tab) * 2.0 ** (off / 1200.0), 1.0))
    when = datetime.combine(today - timedelta(days=21), time(17, 30), UTC)
    return OwnHarp(PLAYER, "old C", HarpTag.of(harp, "old C"), when, tuple(reeds))


def _take(drill: Drill, left: float, began: datetime, chance: random.Random) -> TakeRecord:
    beat_ms = 60_000.0 / drill.tempo
    marks = tuple(_mark(step, drill, left, beat_ms, chance) for step in drill.steps)
    score = total_score(marks)
    harp = Harp.of(drill.key, drill.tuning)
    passed = score >= drill.goal.pass_mark
    result = Result(drill, harp.name, drill.tempo, marks, score, passed)
    return TakeRecord.of(result, harp, player=PLAYER, began=began, source="microphone")


def _mark(step: Step, drill: Drill, left: float, beat_ms: float, chance: random.Random) -> Mark:
    bent = any(tab.bend for sound in step.sounds for tab in sound)
    off = OFF_CENTS * left / (1 if bent else 3)
    cents = chance.gauss(-off / 2, SPREAD_CENTS)
    leak = chance.choice((None, None, None, -10.0 - 20.0 * (1.0 - left)))
    measured = Measured(
        start=0,
        end=1,
        cents=cents,
        wobble_cents=chance.uniform(1.0, 2.0 + off / 5),
        drift_cents=chance.gauss(0.0, off / 5),
        scoop_cents=chance.gauss(0.0, off),
        settle_ms=chance.uniform(40.0, 60.0 + 4 * off),
        late_ms=chance.gauss(10.0, 12.0 + off),
        leak_db=leak,
        leak_hole=None if leak is None else max(1, step.last[0].hole - 1),
        holes=tuple(tab.hole for tab in step.last),
        heard=step.tab,
    )
    return make_mark(step, measured, drill.goal, beat_ms)
