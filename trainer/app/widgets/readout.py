"""The readout: what sounds or is to be played, how far off it is, and a line of words.

It has three sizes, by its rows. The largest is the far view, which is read from two steps away with
a harp at the mouth: the tab to play now and the next, what to mend, and the words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.far_text import FONT_ROWS, far_height, far_rows, far_scale, far_width
from trainer.app.large_text import large_rows
from trainer.app.shapes import grade_pen
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.gauge import STATE_PENS
from trainer.core.quantities import quantity_text
from trainer.drill import format_sound
from trainer.report.formatting import score_text
from trainer.report.grades import grade_of_score
from trainer.report.result_report import outcome_text
from trainer.report.solo_report import chords_at

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
LARGE_ROWS = 1 + FONT_ROWS
"""Rows from which the text is large: at twice the size of its font, over the words."""
FAR_ROWS = 2 * LARGE_ROWS - 1
"""Rows from which it is the far view: two large texts, one above the other, over the words."""
FAR_MARGIN = 3
"""Blank cells on either side of the far view."""
_ARROWS = {"flat": "▼", "sharp": "▲"}


@dataclass(frozen=True, slots=True)
class ReadoutState:
    """State of the readout.

    Attributes:
        first, second: the large texts, such as ``-4'`` and ``12 FLAT``.
        words: the line below them.
        first_pen, second_pen, words_pen: their pens.
        sign: the second text in few signs, such as ``▼12``; empty where it is short itself.
        play: the tab to play now, or what stands in for it.
        after: the tab of the step after it; empty for none.
        stands_in: whether `first` stands in for the tab to play: a count or a score.
    """

    first: str
    second: str
    words: str
    first_pen: str = "strong"
    second_pen: str = "strong"
    words_pen: str = "text"
    sign: str = ""
    play: str = ""
    after: str = ""
    stands_in: bool = False

    @classmethod
    def of(cls, take: TakeState) -> ReadoutState:
        """Make the readout of a take."""
        if take.phase is Phase.COUNTING:
            readout = _count_in(take)
        elif take.phase is Phase.WAITING:
            readout = _waiting(take)
        elif take.phase is Phase.NO_SOUND:
            readout = _stopped(take, "× no sound: waiting for the microphone")
        elif take.phase is Phase.PAUSED and take.displayed.tab is None:
            readout = _stopped(take, "‖ paused: space goes on")
        elif take.running:
            readout = _with_held(readout_of(take.displayed), take)
        else:
            readout = _stopped(take)
        wanted = take.displayed.wanted_text
        if take.solo is not None and take.drill is not None and take.playhead.position is not None:
            now, following = chords_at(take.drill, take.playhead.position)
            return replace(
                readout,
                play=now.chord.in_key if now else "",
                after=following.chord.in_key if following else "",
            )
        if readout.stands_in:
            return replace(readout, play=readout.first, after=wanted)
        return replace(readout, play=wanted, after=_after(take))


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
        sign=f"{_ARROWS[state]}{abs(reading.whole_cents)}" if state in _ARROWS else "",
    )


def _after(take: TakeState) -> str:
    """Return the tab of the step after the one to play."""
    step, last = take.next_step, take.playhead.steps[1]
    if step is None or step.index + 1 >= last:
        return ""
    return format_sound(take.steps[step.index + 1].first)


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
    words = f"{quantity_text(abs(offset), 'cent')} {side}" if offset else ""
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
    return f"hole {reading.leak_hole} leaks, {reading.leak_db:.0f} dB"


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
    return ReadoutState(
        number, "", f"{dots} count-in, then {wanted}", "now", words_pen="now", stands_in=True
    )


def _waiting(take: TakeState) -> ReadoutState:
    seconds, wait = take.goes_on_in_s, take.wait
    if wait is None or not wait.armed:
        return ReadoutState("", "", "○ the pass is over: let it ring out", words_pen="now")
    if seconds is None:
        return ReadoutState("", "", "○ play any note to start; space stops", words_pen="now")
    words = f"○ goes on in {seconds} s, or play a note; space stops"
    return ReadoutState(str(seconds), "", words, "now", words_pen="now", stands_in=True)


def _stopped(take: TakeState, words: str = "") -> ReadoutState:
    wanted = take.displayed.wanted_text
    result = take.sheet.result
    if result is not None and take.phase is Phase.ENDED and not words:
        graded, score = grade_of_score(result.score), score_text(result.score)
        pen = grade_pen(graded)
        words = f"{graded.shape} {outcome_text(result)}; space plays it again"
        return ReadoutState(score, "", words, pen, words_pen=pen, stands_in=True)
    words = words or ("space starts the count-in" if take.drill else "space starts listening")
    return ReadoutState(wanted, "", words, "faint", words_pen="quiet")


def readout_rows(state: ReadoutState, width: int, height: int) -> list[TextRow]:
    """Draw the readout at the largest size that its rows have room for."""
    words = (state.words, state.words_pen)
    if height >= FAR_ROWS:
        drawn = [*_far_rows(state, width, height - 1), (_FAR_MARGIN, words)]
    else:
        drawn = [*_line_of_text(state, width, height - 1), ((MARGIN_TEXT, "text"), words)]
    return [truncate(row, width) if row else row for row in drawn[:height]]


def _line_of_text(state: ReadoutState, width: int, height: int) -> list[TextRow]:
    """Draw both texts beside each other."""
    if height + 1 < LARGE_ROWS:
        first, second = _big(state.first), _big(state.second)
    else:
        first = _scaled(state.first, width // 2, height)
        room = width - len(MARGIN_TEXT + first[0] + "   ")
        second = _scaled(state.sign or state.second, room, height)
    rows: list[TextRow] = []
    for left, right in zip(first, second, strict=True):
        right = right if len(MARGIN_TEXT + left + "   " + right) <= width else ""
        row = ((MARGIN_TEXT, "text"), (left, state.first_pen), ("   ", "text"))
        rows.append((*row, (right, state.second_pen)) if right else row)
    return rows


def _big(text: str) -> list[str]:
    return list(large_rows(text)) if text else [""] * 3


def _scaled(text: str, width: int, height: int) -> list[str]:
    """Return a text at the largest scale that fits, with blank rows around it."""
    rows = far_rows(text, far_scale(text, width, height)) if text else []
    blank = " " * (len(rows[0]) if rows else 0)
    above = (height - len(rows)) // 2
    return [blank] * above + rows + [blank] * (height - len(rows) - above)


_FAR_MARGIN = (" " * FAR_MARGIN, "text")


def _far_rows(state: ReadoutState, width: int, height: int) -> list[TextRow]:
    """Draw the tab now and next over the verdict."""
    room, half = width - 2 * FAR_MARGIN, (height - 1) // 2
    verdict: list[TextRow] = []
    if text := state.sign or state.second:
        rows = far_rows(text, far_scale(text, room, half))
        verdict = [(_FAR_MARGIN, (row, state.second_pen)) for row in rows]
    return [*_centred(_tab_rows(state, room, half), half), (), *_centred(verdict, half)] + [()] * (
        height - 1 - 2 * half
    )


def _tab_rows(state: ReadoutState, width: int, height: int) -> list[TextRow]:
    """Draw the tab to play, and the next one half as large at the right."""
    pen = state.first_pen if state.stands_in else "strong"
    scale = far_scale(state.play, width * 3 // 5, height)
    left = far_rows(state.play, scale) if state.play else [""] * far_height(scale)
    if not state.after:
        return [(_FAR_MARGIN, (row, pen)) for row in left]
    small = min(max(1, scale // 2), far_scale(state.after, width // 3, height))
    right = far_rows(state.after, small)
    right = [""] * (len(left) - len(right)) + right
    at = width - far_width(state.after, small)
    return [
        (_FAR_MARGIN, (now, pen), (" " * (at - len(now)), "text"), (after, "quiet"))
        for now, after in zip(left, right, strict=True)
    ]


def _centred(rows: list[TextRow], height: int) -> list[TextRow]:
    """Return rows with blank ones around them."""
    spare = max(0, height - len(rows))
    above = spare // 2
    return [*[()] * above, *rows[:height], *[()] * (spare - above)]


class Readout(Canvas[ReadoutState]):
    """The readout."""

    def draw(self, state: ReadoutState, width: int, height: int) -> Sequence[TextRow]:
        """Draw the large text over the words."""
        return readout_rows(state, width, height)
