"""The readout: the reading in words, three rows high, and one line that says the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.large_text import large_rows
from trainer.app.take_state import Phase, TakeState

STATE_SIGNS = {"good": "●", "flat": "▼", "sharp": "▲", "wrong": "×", "silent": "○"}
ONSET_SIGN = "◌"
MARGIN_TEXT = "  "


@dataclass(frozen=True, slots=True)
class ReadoutState:
    """What the readout says.

    Attributes:
        first, second: the big words, such as ``-4'`` and ``12 FLAT``.
        first_pen, second_pen: how they are drawn.
        words: the line under them.
        words_pen: how it is drawn.
    """

    first: str
    second: str
    words: str
    first_pen: str = "strong"
    second_pen: str = "strong"
    words_pen: str = "text"

    @classmethod
    def of(cls, take: TakeState) -> ReadoutState:
        """The readout of a take as it stands."""
        if take.phase is Phase.COUNTING:
            return _count(take)
        return readout_of(take.displayed) if take.running else _at_rest(take)


def readout_of(shown: DisplayedReading) -> ReadoutState:
    """The readout of a smoothed reading."""
    wanted = shown.wanted_text
    state = shown.state
    if shown.pitch_pending:
        first = wanted if shown.tab is None else str(shown.tab)
        return ReadoutState(first, "", f"{ONSET_SIGN} a sound begins", "faint", words_pen="now")
    if shown.tab is None or shown.whole_cents is None:
        words = (
            f"{STATE_SIGNS['silent']} play {wanted}"
            if wanted
            else f"{STATE_SIGNS['silent']} silence"
        )
        return ReadoutState(wanted, "", words, "faint", "faint", "quiet")
    pen = "quiet" if shown.ended else state
    first_pen = "quiet" if shown.ended else "strong"
    if state == "wrong":
        words = f"{STATE_SIGNS[state]} this is {shown.tab}, play {wanted}"
        return ReadoutState(str(shown.tab), f"NOT {wanted}", words, first_pen, pen, pen)
    amount = abs(shown.whole_cents)
    side = "FLAT" if shown.whole_cents < 0 else "SHARP"
    second = f"{amount} {side}" if amount else "IN TUNE"
    return ReadoutState(
        str(shown.tab), second, f"{STATE_SIGNS[state]} {offset_words(shown)}", first_pen, pen, pen
    )


def offset_words(shown: DisplayedReading) -> str:
    """How far off, and whether another hole sounds, in words."""
    number = shown.whole_cents or 0
    side = "flat" if number < 0 else "sharp"
    words = "in tune" if shown.state == "good" else f"{abs(number)} cents {side}"
    return f"{words}, {leak_words(shown)}" if shown.holes else words


def leak_words(shown: DisplayedReading) -> str:
    """Whether another hole than the wanted ones sounds, in words."""
    if shown.leak_hole is None or shown.leak_db is None:
        return "clean"
    return f"hole {shown.leak_hole} leaks, {abs(shown.leak_db):.0f} dB below"


def _count(take: TakeState) -> ReadoutState:
    count, wanted = take.counted_beats, take.displayed.wanted_text
    dots = "● " * count + "○ " * (take.count_in_beats - count)
    number = str(count) if count else ""
    return ReadoutState(number, "", f"{dots} count-in, then {wanted}", "now", words_pen="now")


def _at_rest(take: TakeState) -> ReadoutState:
    wanted = take.displayed.wanted_text
    words = "space starts the count-in" if take.drill else "space starts listening"
    return ReadoutState(wanted, "", words, "faint", words_pen="quiet")


class Readout(Canvas[ReadoutState]):
    """The readout."""

    def draw(self, state: ReadoutState, width: int, height: int) -> Sequence[TextRow]:
        """Three rows of big words and the line under them."""
        rows: list[TextRow] = []
        for first, second in zip(_big(state.first), _big(state.second), strict=True):
            if len(MARGIN_TEXT + first + "   " + second) > width:
                second = ""
            rows.append(
                ((MARGIN_TEXT, "text"), (first, state.first_pen), ("   ", "text"))
                + (((second, state.second_pen),) if second else ())
            )
        rows.append(((MARGIN_TEXT, "text"), (state.words, state.words_pen)))
        return rows[:height]


def _big(text: str) -> tuple[str, str, str]:
    return large_rows(text) if text else ("", "", "")
