"""Commands to a running take, apart from stopping it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

from trainer.sound import Passage


class PassControl(Enum):
    """A command about the current pass."""

    PAUSE = auto()
    """Stop the beat and wait."""
    RESUME = auto()
    """Count in again, from the bar in which the pass was paused."""
    GO_BACK = auto()
    """Go back a bar; where the pass is not paused, count in again from there."""


@dataclass(frozen=True, slots=True)
class PlayTone:
    """Play a reference tone from now on, until another command.

    Attributes:
        hz: its pitch; None for silence.
    """

    hz: float | None


@dataclass(frozen=True, slots=True)
class PlayLoop:
    """Play a passage of a recording again and again, until another command.

    Attributes:
        passage: what is played; None for nothing.
    """

    passage: Passage | None


Command = PassControl | PlayTone | PlayLoop
NextCommand = Callable[[], Command | None]
"""Returns the next command, or None; called often."""


def no_command() -> Command | None:
    """Return no command."""
    return None
