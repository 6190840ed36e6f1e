"""The far view: what to play now and next, how far off it is, and whether it is clean.

It is read from two steps away with a harp at the mouth: large text and a tall needle fill the
window, and nothing else is shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.far_text import far_height, far_rows, far_scale, far_width
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.gauge import GaugeState, needle_row, scale_row
from trainer.app.widgets.readout import ReadoutState
from trainer.drill import format_sound

MIN_NEEDLE_ROWS = 4
"""Minimum height of the needle in rows, without the scale."""
NEEDLE_PART = 6
"""Rows of the view per row of the needle."""
MARGIN = 3
"""Blank cells on either side."""
_ARROWS = {"flat": "▼", "sharp": "▲"}


@dataclass(frozen=True, slots=True)
class FarViewState:
    """State of the far view.

    Attributes:
        now: tab to play now, or the count.
        after: tab of the step after it; empty for none.
        verdict: what to mend first, or ``IN TUNE``; empty for silence.
        words: the line of words.
        now_pen, verdict_pen, words_pen: their pens.
        gauge: state of the needle.
    """

    now: str
    after: str
    verdict: str
    words: str
    now_pen: str
    verdict_pen: str
    words_pen: str
    gauge: GaugeState

    @classmethod
    def of(cls, take: TakeState) -> FarViewState:
        """Make the far view of a take."""
        readout, reading = ReadoutState.of(take), take.displayed
        is_counting = take.phase is Phase.COUNTING
        verdict = readout.second
        if reading.state in _ARROWS and reading.whole_cents is not None and verdict:
            verdict = f"{_ARROWS[reading.state]}{abs(reading.whole_cents)}"
        return cls(
            readout.first if is_counting else format_sound(take.wanted) if take.wanted else "",
            _after(take),
            verdict,
            readout.words,
            "now" if is_counting else "strong",
            readout.second_pen,
            readout.words_pen,
            GaugeState.of(reading),
        )


def _after(take: TakeState) -> str:
    """Return the tab of the step after the one to play."""
    step, last = take.next_step, take.playhead.steps[1]
    if step is None or step.index + 1 >= last:
        return ""
    return format_sound(take.steps[step.index + 1].first)


def far_view_rows(state: FarViewState, width: int, height: int) -> list[TextRow]:
    """Draw the tab now and next, the verdict, the words, the needle and its scale."""
    needle = max(MIN_NEEDLE_ROWS, height // NEEDLE_PART)
    room, half = width - 2 * MARGIN, (height - needle - 3) // 2
    drawn = [
        *_centred(_tab_rows(state, room, half), half),
        (),
        *_centred(_large(state.verdict, state.verdict_pen, room, half), half),
        (_MARGIN, (state.words, state.words_pen)),
    ]
    gauge = [needle_row(state.gauge, room, named=y == 0) for y in range(needle)]
    drawn += [(_MARGIN, *row) for row in (*gauge, scale_row(state.gauge, room))]
    return [truncate(row, width) if row else row for row in drawn[:height]]


_MARGIN = (" " * MARGIN, "text")


def _large(text: str, pen: str, width: int, height: int) -> list[TextRow]:
    if not text:
        return []
    return [(_MARGIN, (row, pen)) for row in far_rows(text, far_scale(text, width, height))]


def _tab_rows(state: FarViewState, width: int, height: int) -> list[TextRow]:
    """Draw the tab to play, and the next one half as large at the right."""
    scale = far_scale(state.now, width * 3 // 5, height)
    left = far_rows(state.now, scale) if state.now else [""] * far_height(scale)
    if not state.after:
        return [(_MARGIN, (row, state.now_pen)) for row in left]
    small = min(max(1, scale // 2), far_scale(state.after, width // 3, height))
    right = far_rows(state.after, small)
    right = [""] * (len(left) - len(right)) + right
    at = width - far_width(state.after, small)
    return [
        (_MARGIN, (f"{now:<{at}}", state.now_pen), (after, "quiet"))
        for now, after in zip(left, right, strict=True)
    ]


def _centred(rows: list[TextRow], height: int) -> list[TextRow]:
    """Return rows with blank ones around them."""
    spare = max(0, height - len(rows))
    above = spare // 2
    return [*[()] * above, *rows[:height], *[()] * (spare - above)]


class FarView(Canvas[FarViewState]):
    """The far view."""

    def draw(self, state: FarViewState, width: int, height: int) -> Sequence[TextRow]:
        """Fill the window."""
        rows = far_view_rows(state, width, height)
        return rows + [()] * (height - len(rows))
