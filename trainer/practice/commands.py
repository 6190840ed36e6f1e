"""Commands to a running take, and requests to stop it."""

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
        hz: its pitches, several for a chord; none for silence.
    """

    hz: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class PlayLoop:
    """Play a passage of a recording again and again, until another command.

    Attributes:
        passage: what is played; None for nothing.
    """

    passage: Passage | None


class StopRequest(Enum):
    """Who wants a take to end."""

    PLAYER = auto()
    """The player: a pass of which little was played is a false start, and is not kept."""
    OUTSIDE = auto()
    """A signal, or the end of the screen: whatever was played is kept."""


ShouldStop = Callable[[], StopRequest | bool]
"""Returns whether a take must end, and who wants it; True stands for the player. Called often."""


@dataclass(frozen=True, slots=True)
class HoldPasses:
    """Begin no further pass, because the player is reading something else.

    A loop ends with its running pass; without hands, the wait goes on.

    Attributes:
        hold: whether to hold; False takes it back.
    """

    hold: bool


Command = PassControl | PlayTone | PlayLoop | HoldPasses
NextCommand = Callable[[], Command | None]
"""Returns the next command, or None; called often."""


def no_command() -> Command | None:
    """Return no command."""
    return None
