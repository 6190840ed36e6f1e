"""The first-run guide: what is to be done now, what is heard meanwhile, and what it means."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.widgets.status_line import level_meter
from trainer.harp import Harp, Tab
from trainer.report.heard_report import offset_text

FAINT_DB, TOO_LOUD_DB = -50.0, -6.0
"""Between these a note's level is right: well over a room's noise, well under clipping."""
MARGIN_CELLS = 3
MAX_TEXT_CELLS = 76


@dataclass(frozen=True, slots=True)
class GuideState:
    """What the guide shows.

    Attributes:
        step: which step, from 1, and of how many.
        steps: of how many.
        title: what is done in it.
        words: how.
        choices: what can be chosen, and which of it is.
        chosen: its place.
        heard: the reading; None while nothing is taken in.
        said: what it means, or what is the matter.
        good: whether that is as it should be.
    """

    step: int
    steps: int
    title: str
    words: str
    choices: tuple[str, ...] = ()
    chosen: int = 0
    heard: DisplayedReading | None = None
    said: str = ""
    good: bool = False


def guide_rows(state: GuideState, width: int, height: int) -> list[TextRow]:
    """The step from top to foot."""
    told: list[TextRow] = [
        ((f" Step {state.step} of {state.steps}: ", "quiet"), (state.title, "strong")),
        (),
        *_wrapped(state.words, width, "text"),
        (),
    ]
    told += _choices(state, max(3, height - len(told) - 6))
    if state.choices:
        told.append(())
    told.append(((" " * MARGIN_CELLS, "text"), *level_meter(_level(state.heard))))
    told.append(())
    sign = "✓" if state.good else "○"
    told += _wrapped(f"{sign} {state.said}" if state.said else "", width, _pen(state))
    return [truncate(row, width) if row else row for row in told[:height]]


def _pen(state: GuideState) -> str:
    return "good" if state.good else "now"


def _wrapped(text: str, width: int, pen: str) -> list[TextRow]:
    lines = textwrap.wrap(text, min(MAX_TEXT_CELLS, width - 2 * MARGIN_CELLS))
    return [((" " * MARGIN_CELLS + line, pen),) for line in lines]


def _choices(state: GuideState, most: int) -> list[TextRow]:
    """As many of the choices as there is room for, the chosen one among them."""
    first = max(0, min(state.chosen - most // 2, len(state.choices) - most))
    found: list[TextRow] = []
    for place, choice in list(enumerate(state.choices))[first : first + most]:
        mine = place == state.chosen
        found.append(((" ▶ " if mine else "   ", "now"), (choice, "strong" if mine else "text")))
    return found


def _level(heard: DisplayedReading | None) -> int | None:
    return None if heard is None else round(heard.level_db)


def microphone_verdict(heard: DisplayedReading | None) -> tuple[str, bool]:
    """What the level of an input means, and whether it is as it should be."""
    if heard is None:
        return "opening it", False
    if heard.level_db > TOO_LOUD_DB:
        return "that is too loud: turn the input down, or step back from the microphone", True
    if heard.level_db > FAINT_DB:
        return "sound comes in; enter goes on", True
    return (
        "say something or blow a note: the level should jump. If it does not, it is another "
        "input, it is muted, or this program may not use it",
        False,
    )


def note_verdict(heard: DisplayedReading | None, wanted: Tab, harp: Harp) -> tuple[str, bool]:
    """What is heard in place of the note that is asked for, and whether it is that note."""
    if heard is None or heard.tab is None or heard.whole_cents is None:
        return f"waiting for {wanted}: hole {wanted.hole}, {wanted.breath}", False
    off = offset_text(heard.whole_cents)
    if heard.tab == wanted:
        if heard.level_db < FAINT_DB:
            return f"{wanted}, {off}, but faint: come closer or turn the input up", False
        leak = "" if heard.leak_hole is None else f"; hole {heard.leak_hole} sounds along"
        return f"{wanted} on the {harp.name} harp, {off}{leak}", True
    return (
        f"that is {heard.tab} on a {harp.name} harp. Play {wanted}; or is your harp in another "
        "key? Choose it with ← and →",
        False,
    )


class GuideBoard(Canvas[GuideState]):
    """The guide's step."""

    def draw(self, state: GuideState, width: int, height: int) -> Sequence[TextRow]:
        """As many rows as there are."""
        drawn = guide_rows(state, width, height)
        return drawn + [()] * (height - len(drawn))
