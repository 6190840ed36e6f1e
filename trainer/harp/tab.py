"""Tab: how players write which hole, which breath and how far bent.

``4`` is blow, ``-4`` draw; each ``'`` bends a half step down; a trailing ``o`` is an overblow
or, on a draw note, an overdraw. This is how players commonly write it in plain text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from trainer.harp.errors import HarpError


class Breath(StrEnum):
    """Direction of breath."""

    BLOW = "blow"
    DRAW = "draw"

    # As of any text that is equal; an enumeration's own is many times slower, and tabs are looked
    # up at every reading.
    __hash__ = str.__hash__

    @property
    def other(self) -> Breath:
        """The opposite direction."""
        return Breath.DRAW if self is Breath.BLOW else Breath.BLOW


HOLES = range(1, 11)
_TAB = re.compile(r"(-?)([0-9]+)('*)(o?)\Z")


@dataclass(frozen=True, slots=True, order=True)
class Tab:
    """One tab entry.

    Attributes:
        hole: 1 to 10.
        breath: direction of breath.
        bend: half steps bent down, 0 for a natural note.
        over: whether it is an overblow or overdraw.

    Raises:
        HarpError: a ten-hole harp has no such hole, or the entry is both bent and overblown.
    """

    hole: int
    breath: Breath
    bend: int = 0
    over: bool = False

    def __post_init__(self) -> None:
        if self.hole not in HOLES:
            raise HarpError(f"'{self}' names hole {self.hole}; a harp has holes 1 to 10")
        if self.bend and self.over:
            raise HarpError(f"'{self}' is both bent and overblown; write one or the other")

    def __str__(self) -> str:
        sign = "-" if self.breath is Breath.DRAW else ""
        return f"{sign}{self.hole}{chr(39) * self.bend}{'o' if self.over else ''}"

    @property
    def is_natural(self) -> bool:
        """Whether the reed sounds by itself, neither bent nor overblown."""
        return not self.bend and not self.over

    @property
    def kind(self) -> str:
        """What it is in words: ``draw``, ``blow bend``, ``overblow`` and so on."""
        if self.over:
            return f"over{self.breath}"
        return f"{self.breath} bend" if self.bend else str(self.breath)

    @classmethod
    def parse(cls, text: str) -> Tab:
        """The tab entry written as `text`.

        Raises:
            HarpError: it is not tab, or names a hole that a ten-hole harp does not have.
        """
        found = _TAB.match(text)
        if not found:
            raise HarpError(
                f"'{text}' is not tab; write 4 for blow, -4 for draw, -4' bent, 4o overblown"
            )
        sign, hole, bends, over = found.groups()
        return cls(int(hole), Breath.DRAW if sign else Breath.BLOW, len(bends), bool(over))
