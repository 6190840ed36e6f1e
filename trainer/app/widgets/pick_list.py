"""The pick list: the harps on which a recording may have been played, each with its opening tab."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.music import key_in_position, pitch_class_name, position_name

if TYPE_CHECKING:
    from trainer.transcript import HarpGuess

LIKELIHOODS = (
    (0.9, "almost certain"),
    (0.6, "likely"),
    (0.25, "possible"),
    (0.05, "less likely"),
    (0.0, "hardly"),
)
"""Least probability of each word. Chosen by hand."""


def likelihood(probability: float) -> str:
    """Return a probability in a word or two, and in tenths where that says more."""
    word = next(word for least, word in LIKELIHOODS if probability >= least)
    tenths = round(10.0 * probability)
    return f"{word}, {tenths} in 10" if 0 < tenths < 10 else word


@dataclass(frozen=True, slots=True)
class PickListState:
    """State of the pick list.

    Attributes:
        picks: plausible harps, most likely first.
        key, tuning: the harp that the tab is written for.
        working: what is still being done, in a few words; empty if nothing is.
        trouble: why there is no list, as a sentence; empty if there is one.
    """

    picks: tuple[HarpGuess, ...] = ()
    key: str = ""
    tuning: str = ""
    working: str = ""
    trouble: str = ""

    @property
    def rows(self) -> int:
        """Number of rows that it needs."""
        return max(1, len(self.picks))


def pick_rows(state: PickListState, width: int) -> list[TextRow]:
    """Draw a row for each harp: digit, harp, position with its key, likelihood, opening tab."""
    if state.trouble:
        return [truncate(((f" × {state.trouble}", "wrong"),), width)]
    if not state.picks:
        return [truncate(((f" … {state.working}", "now"),), width)]
    names = [_harp_name(pick) for pick in state.picks]
    positions = [_position(pick) for pick in state.picks]
    words = [likelihood(pick.probability) for pick in state.picks]
    columns = [max(map(len, column)) for column in (names, positions, words)]
    rows: list[TextRow] = []
    for number, pick in enumerate(state.picks, start=1):
        harp = pick.harp
        chosen = (harp.key.name, harp.tuning.name) == (state.key, state.tuning)
        texts = (names[number - 1], positions[number - 1], words[number - 1])
        row: TextRow = (
            (" ▶", "now") if chosen else ("  ", "text"),  # a blank one would be highlighted
            (f"{number} ", "key"),
            *(
                (f"{text:<{wide}}  ", "strong" if chosen else "text")
                for text, wide in zip(texts, columns, strict=True)
            ),
            (pick.opening, "strong" if chosen else "quiet"),
        )
        rows.append(truncate(row, width))
    return rows


def _harp_name(pick: HarpGuess) -> str:
    """Return the harp's name, with its tuning if it is not the usual one."""
    tuning = pick.harp.tuning.name
    return f"{pick.harp.name} harp" if tuning == "richter" else f"{pick.harp.name} harp, {tuning}"


def _position(pick: HarpGuess) -> str:
    """Return the position and the key of the music: ``2nd position (G)``."""
    if pick.position is None:
        return "no key"
    key = pick.harp.key
    name = pitch_class_name(key_in_position(key.tonic, pick.position), key.note)
    return f"{position_name(pick.position)} position ({name})"


class PickList(Canvas[PickListState]):
    """The pick list."""

    def draw(self, state: PickListState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many harps as fit."""
        return pick_rows(state, width)[:height]
