"""The board of the first-run guide: what to do, the input level, and a verdict on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.widgets.board import board_width, centred, in_the_middle, large, wrapped
from trainer.app.widgets.level_bar import FAINT_DB, TOO_LOUD_DB, level_bar_rows
from trainer.harp import A4Guess, Harp, Tab
from trainer.report.heard_report import offset_text

TALL_BAR_ROWS, TALL_ROWS = 3, 24
"""Height of the level bar in tall windows, and rows of the board that make it tall."""


@dataclass(frozen=True, slots=True)
class GuideState:
    """A step of the guide.

    Attributes:
        step: number of the step, from 1.
        steps: number of steps.
        title: title of the step.
        words: instructions.
        asked: the note to play, as tab; empty for none.
        choices: choices of the step; empty for none.
        chosen: index of the chosen one.
        heard: the displayed reading; None while the input is closed.
        message: the verdict on it, or why there is none.
        good: whether the player may go on.
    """

    step: int
    steps: int
    title: str
    words: str
    asked: str = ""
    choices: tuple[str, ...] = ()
    chosen: int = 0
    heard: DisplayedReading | None = None
    message: str = ""
    good: bool = False


def guide_rows(state: GuideState, width: int, height: int) -> list[TextRow]:
    """Draw the step in the middle of the window, top to bottom."""
    room, bar = board_width(width), TALL_BAR_ROWS if height >= TALL_ROWS else 2
    head: TextRow = ((f"Step {state.step} of {state.steps}: ", "quiet"), (state.title, "strong"))
    words = [centred(row, room) for row in wrapped(state.words, room, "text")]
    above: list[TextRow] = [centred(head, room), (), *words, ()]
    level = [centred(row, room) for row in level_bar_rows(_level(state.heard), room, bar)]
    sign, pen = ("✓", "good") if state.good else ("○", "now")
    verdict = wrapped(f"{sign} {state.message}" if state.message else "", room, pen)
    below = [*level, (), *(centred(row, room) for row in verdict)]
    free = height - len(above) - len(below) - 3  # a blank row below, and one at either end
    middle = _choices(state, max(3, free)) if state.choices else []
    if state.asked:
        middle = large(state.asked, pen, room, free)
    return in_the_middle([*above, *middle, *([()] if middle else []), *below], width, height)


def _choices(state: GuideState, most: int) -> list[TextRow]:
    """Draw at most `most` choices, the chosen one among them."""
    first = max(0, min(state.chosen - most // 2, len(state.choices) - most))
    drawn: list[TextRow] = []
    for place, choice in list(enumerate(state.choices))[first : first + most]:
        selected = place == state.chosen
        pointer = ("▶ ", "now") if selected else ("  ", "text")
        drawn.append((pointer, (choice, "strong" if selected else "text")))
    return drawn


def _level(heard: DisplayedReading | None) -> int | None:
    return None if heard is None else round(heard.level_db)


def microphone_verdict(heard: DisplayedReading | None) -> tuple[str, bool]:
    """Return a verdict on an input's level, and whether the player may go on."""
    if heard is None:
        return "opening the input", False
    if heard.level_db > TOO_LOUD_DB:
        return "too loud: turn the input down, or step back from the microphone", True
    if heard.level_db > FAINT_DB:
        return "the input works: enter goes on", True
    return (
        "speak or play a note: the level should rise. If not, choose another input, unmute it, or "
        "allow this program to use it",
        False,
    )


def note_verdict(heard: DisplayedReading | None, wanted: Tab, harp: Harp) -> tuple[str, bool]:
    """Return a verdict on the note heard, and whether it is the wanted one."""
    if heard is None or heard.tab is None or heard.whole_cents is None:
        return f"play {wanted}: hole {wanted.hole}, {wanted.breath}", False
    off = offset_text(heard.whole_cents)
    if heard.tab == wanted:
        if heard.level_db < FAINT_DB:
            return f"{wanted}, {off}, but faint: play closer or turn the input up", False
        leak = "" if heard.leak_hole is None else f"; hole {heard.leak_hole} leaks"
        return f"{wanted} on the {harp.name} harp, {off}{leak}", True
    return (
        f"heard {heard.tab} of a {harp.name} harp: play {wanted}, or choose your harp's key with "
        "← and →",
        False,
    )


def a4_verdict(guess: A4Guess, present: float) -> tuple[str, tuple[float, ...]]:
    """Return a verdict on a harp's A4, and the A4 in hertz to choose from.

    Args:
        guess: what its notes show.
        present: A4 of the plan in hertz.
    """
    measure = "measure it, reed by reed, among your harps (h, then m)"
    if not guess.agrees:
        return f"these notes disagree: {measure}", ()
    side = "above" if guess.offset_cents > 0.0 else "below"
    off = f"your harp lies {abs(guess.offset_cents):.0f} cents {side} A4 = 440 Hz"
    if guess.a4 is None:
        return f"{off}: check its key, or {measure}", ()
    if guess.a4 == present:
        return f"your harp fits A4 = {present:g} Hz", ()
    return f"{off}: set A4 = {guess.a4:g} Hz, or {measure}", (guess.a4, present)


class GuideBoard(Canvas[GuideState]):
    """The board of the guide."""

    def draw(self, state: GuideState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many rows as fit."""
        return guide_rows(state, width, height)
