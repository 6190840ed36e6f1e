"""A picture of the real app at work, as SVG: ``python -m trainer.app.picture FILE``."""

from __future__ import annotations

import asyncio
import re
import sys
from collections.abc import Sequence
from pathlib import Path

from trainer.app.app import TrainerApp
from trainer.app.session import ListenerLike
from trainer.drill import Drill, find, read_shelf
from trainer.harp import Harp
from trainer.practice import Listener, Plan, typical_faults
from trainer.sound import PlayerSpec

DEMO, BEAT = "harbour-bell", 8.6
LOOK_S = 0.02
FONTS = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace"


def picture(
    listener: ListenerLike,
    shelf: Sequence[Drill],
    plan: Plan,
    *,
    beat: float,
    size: tuple[int, int] = (120, 40),
) -> str:
    """The app as it looks at a beat of a take, or at its end if that comes sooner.

    Args:
        listener: what plays the plan; closed at the end.
        shelf: the drills at hand.
        plan: what is played. Its source has to keep time, or the beat is over before it is seen.
        beat: when, in beats from the first of the drill.
        size: columns and rows.

    Returns:
        SVG that needs nothing from elsewhere.
    """
    return asyncio.run(_picture(TrainerApp(listener, shelf, plan, autostart=True), beat, size))


async def _picture(app: TrainerApp, beat: float, size: tuple[int, int]) -> str:
    async with app.run_test(size=size) as pilot:
        session = app.session
        while session.busy and (session.take.position is None or session.take.position < beat):
            await pilot.pause(LOOK_S)
        return alone(app.export_screenshot())


def alone(svg: str) -> str:
    """An exported screenshot with its web fonts taken out, for those of the reader's machine."""
    svg = re.sub(r"@font-face\s*\{.*?\}\s*", "", svg, flags=re.DOTALL)
    return re.sub(r"font-family: Fira Code, monospace", f"font-family: {FONTS}", svg)


def main(path: Path) -> None:
    """Draw the demo at the moment of its glide, by the real listener and built-in player."""
    drill = find(DEMO)
    source = PlayerSpec(faults=typical_faults(drill), realtime=True)
    plan = Plan(Harp.of(drill.key, drill.tuning), source, drill=drill)
    svg = picture(Listener(), read_shelf().drills, plan, beat=BEAT)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(svg, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
