"""Tab: the notation of hole, breath and bend.

``4`` is blow, ``-4`` draw; each ``'`` is a half step of bend; a trailing ``o`` is an overblow
or, on a draw note, an overdraw. This is the common notation in plain text.
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

    # Tabs are looked up at every reading, and an enumeration's own hash is many times slower.
    __hash__ = str.__hash__

    @property
    def other(self) -> Breath:
        """The opposite direction."""
        return Breath.DRAW if self is Breath.BLOW else Breath.BLOW


HOLES = range(1, 11)
"""Numbers of the holes."""
_TAB = re.compile(r"(-?)([0-9]+)('*)(o?)\Z")


@dataclass(frozen=True, slots=True, order=True)
class Tab:
    """One tab entry.

    Attributes:
        hole: 1 to 10.
        breath: direction of breath.
        bend: depth of the bend in half steps; 0 for a natural note.
        over: whether it is an overblow or overdraw.

    Raises:
        HarpError: the hole is not 1 to 10, or the entry is both bent and overblown.
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
        """Whether it is neither bent nor overblown nor overdrawn."""
        return not self.bend and not self.over

    @property
    def kind(self) -> str:
        """Name of the technique: ``draw``, ``blow bend``, ``overblow`` and so on."""
        if self.over:
            return f"over{self.breath}"
        return f"{self.breath} bend" if self.bend else str(self.breath)

    @classmethod
    def parse(cls, text: str) -> Tab:
        """Parse a tab entry.

        Raises:
            HarpError: it is not tab, or the hole is not 1 to 10.
        """
        match = _TAB.match(text)
        if not match:
            raise HarpError(
                f"'{text}' is not tab; write 4 for blow, -4 for draw, -4' bent, 4o overblown"
            )
        sign, hole, bends, over = match.groups()
        return cls(int(hole), Breath.DRAW if sign else Breath.BLOW, len(bends), bool(over))
