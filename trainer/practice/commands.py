"""What a player may ask of a take while it runs, beside ending it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

from trainer.sound.passage import Passage


class PassControl(Enum):
    """Something asked of the pass that is being played."""

    PAUSE = auto()
    """Stop the beat where it is and wait."""
    RESUME = auto()
    """Count in again, from the bar in which it was paused."""
    GO_BACK = auto()
    """Go a bar back; where nothing is paused, count in again from there."""


@dataclass(frozen=True, slots=True)
class PlayTone:
    """A reference tone, from now on until another is asked for.

    Attributes:
        hz: its pitch; None for silence.
    """

    hz: float | None


@dataclass(frozen=True, slots=True)
class PlayLoop:
    """A passage of a recording, heard again and again until another is asked for.

    Attributes:
        passage: what is heard; None for nothing.
    """

    passage: Passage | None


Command = PassControl | PlayTone | PlayLoop
NextCommand = Callable[[], Command | None]
"""Gives what is asked for next, or None; asked often."""


def no_command() -> Command | None:
    """Nobody asks for anything."""
    return None
