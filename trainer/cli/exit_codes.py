"""Exit codes by name."""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """What the command tells the shell."""

    OK = 0
    FAILED = 1
    """A check or pass mark that was not met."""
    USAGE = 2
    """The command line itself was wrong."""
    BAD_INPUT = 3
    """A file, drill, key or tuning that is wrong."""
    NO_SOUND = 4
    """No device gives or takes sound."""
    INTERNAL = 70
    """A mistake of the trainer's own."""
