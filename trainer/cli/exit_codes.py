"""Exit codes by name."""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """Exit codes of the command line."""

    OK = 0
    FAILED = 1
    """A check or a pass mark was not met."""
    USAGE = 2
    """The command line is invalid."""
    BAD_INPUT = 3
    """A file, drill, key or tuning is invalid."""
    NO_SOUND = 4
    """No audio device is available."""
    OUTPUT = 74
    """The output cannot be written; EX_IOERR of sysexits.h."""
    INTERNAL = 70
    """An error of the program; EX_SOFTWARE of sysexits.h."""
