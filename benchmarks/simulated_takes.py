"""Takes of simulated players, which nobody played."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

from trainer.drill import Drill
from trainer.store import HarpTag, StepRecord, TakeRecord


def simulated_take(
    drill: Drill, day: date, score: float, steps: tuple[StepRecord, ...] = (), hour: int = 12
) -> TakeRecord:
    """Return a take of a whole drill on a C harp, without an id or a player.

    Args:
        drill: what was played.
        day: when.
        score: its score, 0 to 100; it passes from the drill's pass mark on.
        steps: its steps.
        hour: hour of the day, UTC.
    """
    return TakeRecord(
        id="",
        player="",
        began=datetime.combine(day, time(hour), UTC),
        day=day,
        drill=drill.name,
        title=drill.title,
        skills=drill.skills,
        harp=HarpTag("C"),
        tempo=drill.tempo,
        source="microphone",
        score=score,
        passed=score >= drill.goal.pass_mark,
        whole=True,
        seconds=drill.seconds,
        steps=steps,
    )
