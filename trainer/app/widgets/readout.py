"""The readout: tab and offset in large text, and a line of words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from trainer.app.canvas import Canvas, TextRow
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.large_text import large_rows
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.gauge import STATE_PENS

STATE_SIGNS = {
    "good": "●",
    "flat": "▼",
    "sharp": "▲",
    "leak": "!",
    "missing": "×",
    "wrong": "×",
    "silent": "○",
}
ONSET_SIGN = "◌"
MARGIN_TEXT = "  "


@dataclass(frozen=True, slots=True)
class ReadoutState:
    """State of the readout.

    Attributes:
        first, second: the large texts, such as ``-4'`` and ``12 FLAT``.
        words: the line below them.
        first_pen, second_pen, words_pen: their pens.
    """

    first: str
    second: str
    words: str
    first_pen: str = "strong"
    second_pen: str = "strong"
    words_pen: str = "text"

    @classmethod
    def of(cls, take: TakeState) -> ReadoutState:
        """Make the readout of a take."""
        if take.phase is Phase.COUNTING:
            return _count_in(take)
        return _with_held(readout_of(take.displayed), take) if take.running else _stopped(take)


def readout_of(reading: DisplayedReading) -> ReadoutState:
    """Make the readout of a smoothed reading."""
    wanted = reading.wanted_text
    state = reading.state
    if reading.pitch_pending:
        first = wanted if reading.tab is None else str(reading.tab)
        return ReadoutState(first, "", f"{ONSET_SIGN} note begins", "faint", words_pen="now")
    if reading.tab is None or reading.whole_cents is None:
        words = (
            f"{STATE_SIGNS['silent']} play {wanted}"
            if wanted
            else f"{STATE_SIGNS['silent']} silence"
        )
        return ReadoutState(wanted, "", words, "faint", "faint", "quiet")
    pen = "quiet" if reading.ended else STATE_PENS.get(state, state)
    first_pen = "quiet" if reading.ended else "strong"
    if state == "wrong":
        words = f"{STATE_SIGNS[state]} heard {reading.tab}, play {wanted}"
        return ReadoutState(str(reading.tab), f"NOT {wanted}", words, first_pen, pen, pen)
    return ReadoutState(
        str(reading.tab),
        _verdict(reading, reading.whole_cents),
        f"{STATE_SIGNS[state]} {offset_words(reading)}",
        first_pen,
        pen,
        pen,
    )


def _verdict(reading: DisplayedReading, whole_cents: int) -> str:
    """Return what to mend first: a missing hole, the pitch, a leak; or ``IN TUNE``."""
    match reading.state:
        case "missing":
            return f"NO {reading.missing[0]}"
        case "leak":
            return f"LEAK {reading.leak_hole}"
        case "good":
            return "IN TUNE"
    return f"{abs(whole_cents)} {'FLAT' if whole_cents < 0 else 'SHARP'}"


def offset_words(reading: DisplayedReading) -> str:
    """Return the offset and the cleanness in words."""
    offset = reading.whole_cents or 0
    side = "flat" if offset < 0 else "sharp"
    words = f"{abs(offset)} cents {side}" if offset else ""
    if abs(offset) <= reading.tolerance:
        words = f"in tune, {words}" if words else "in tune"
    if reading.missing:
        holes = " and ".join(str(hole) for hole in reading.missing)
        words = f"open to {reading.wanted_text}: {holes} missing; {words}"
        return words if reading.leak_hole is None else f"{words}, {leak_words(reading)}"
    return f"{words}, {leak_words(reading)}" if reading.holes else words


def leak_words(reading: DisplayedReading) -> str:
    """Return ``clean``, or the leaking hole and its level."""
    if reading.leak_hole is None or reading.leak_db is None:
        return "clean"
    return f"hole {reading.leak_hole} leaks, {abs(reading.leak_db):.0f} dB below"


def _with_held(readout: ReadoutState, take: TakeState) -> ReadoutState:
    """Return the readout with the time for which the step has been held, with a free clock."""
    if not take.held_s:
        return readout
    held = f"held {take.held_s:.1f} of {take.goal.hold:g} s"
    return replace(readout, words=f"{readout.words}, {held}")


def _count_in(take: TakeState) -> ReadoutState:
    count, wanted = take.counted_beats, take.displayed.wanted_text
    dots = "● " * count + "○ " * (take.count_in_beats - count)
    number = str(count) if count else ""
    return ReadoutState(number, "", f"{dots} count-in, then {wanted}", "now", words_pen="now")


def _stopped(take: TakeState) -> ReadoutState:
    wanted = take.displayed.wanted_text
    words = "space starts the count-in" if take.drill else "space starts listening"
    return ReadoutState(wanted, "", words, "faint", words_pen="quiet")


class Readout(Canvas[ReadoutState]):
    """The readout."""

    def draw(self, state: ReadoutState, width: int, height: int) -> Sequence[TextRow]:
        """Draw three rows of large text and the line below."""
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
