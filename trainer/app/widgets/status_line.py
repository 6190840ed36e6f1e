"""The status line: the source or what is wrong with it, and the level meter."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, justify
from trainer.app.take_state import Phase, TakeState

METER_FLOOR_DB = -60.0
"""Level at which the bar vanishes, in dB re full scale."""
CLIPPING_DB = -1.0
"""Level above which the input is about to clip, in dB re full scale."""
METER_CELLS = 12
"""Length of the bar in cells."""
_EIGHTHS = " ▏▎▍▌▋▊▉█"


@dataclass(frozen=True, slots=True)
class StatusState:
    """State of the status line.

    Attributes:
        sentence: what is wrong, or the source.
        trouble: whether something is wrong.
        level_db: input level in dB re full scale; None while the input is closed.
        whole: whether the sentence takes the place of the level meter.
    """

    sentence: str = ""
    trouble: bool = False
    level_db: int | None = None
    whole: bool = False

    @classmethod
    def of(cls, take: TakeState, message: str = "") -> StatusState:
        """Make the status line of a take.

        Args:
            take: the take.
            message: a new message, shown in full, even in place of trouble; empty for none.
        """
        if message:
            return cls(message, whole=True)
        trouble = take.phase in (Phase.NO_SOUND, Phase.FAILED)
        sentence = take.messages.trouble if trouble else _sentence(take)
        level = round(take.displayed.level_db) if take.running and take.reading else None
        return cls(sentence, trouble, level)


def _sentence(take: TakeState) -> str:
    if take.phase is Phase.PAUSED:
        return f"paused: space resumes at bar {take.messages.paused_bar}, b goes a bar back"
    if guide := take.guide:
        return guide
    if remark := take.remark:
        return remark
    if take.messages.progress and take.running:
        return take.messages.progress
    if take.messages.saving:
        return take.messages.saving
    if take.messages.notice:
        return f"! {take.messages.notice}"
    if take.outcome.saved and not take.running:
        return f"audio saved in {take.outcome.saved}"
    return f"sound from {take.messages.source}" if take.messages.source else ""


def level_meter(level_db: int | None) -> TextRow:
    """Draw the level as a bar and a number."""
    if level_db is None:
        return ((f"{'no input':>{METER_CELLS + 16}} ", "quiet"),)
    share = min(max(1.0 - level_db / METER_FLOOR_DB, 0.0), 1.0)
    whole, part = divmod(round(share * METER_CELLS * 8), 8)
    bar = "█" * whole + (_EIGHTHS[part] if part else "")
    loud = level_db > CLIPPING_DB
    word = "too loud" if loud else f"{level_db:>4} dB"
    return (
        ("level ▕", "quiet"),
        (f"{bar:<{METER_CELLS}}", "wrong" if loud else "good"),
        ("▏", "quiet"),
        (f"{word:>8} ", "wrong" if loud else "quiet"),
    )


def status_rows(state: StatusState, width: int, height: int) -> list[TextRow]:
    """Draw the status line; a message, or a sentence about trouble, may fill all rows."""
    if not (state.trouble or state.whole):
        return [justify(((f" {state.sentence}", "quiet"),), level_meter(state.level_db), width)]
    sentence = f"× {state.sentence}" if state.trouble else state.sentence
    lines = textwrap.wrap(
        sentence, width - 2, max_lines=height, placeholder=" …", subsequent_indent="  "
    )
    return [((f" {line}", "wrong" if state.trouble else "now"),) for line in lines]


def rows_needed(state: StatusState, width: int, most: int) -> int:
    """Return the rows that the status line needs, at most `most`."""
    return max(1, len(status_rows(state, width, most)))


class StatusLine(Canvas[StatusState]):
    """The status line."""

    def draw(self, state: StatusState, width: int, height: int) -> Sequence[TextRow]:
        """Draw one row, or as many as a message needs and fit."""
        drawn = status_rows(state, width, height)
        return drawn + [()] * (height - len(drawn))
