"""Limits of imported files: a file from a stranger may be huge, endless, or wrong in any way.

The limits stand in docs/safety.md, too.
"""

from __future__ import annotations

import logging
import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import wraps
from pathlib import Path
from typing import ParamSpec

from trainer.core import TrainerError
from trainer.drill import Melody
from trainer.exchange.errors import ExchangeError


@dataclass(frozen=True, slots=True)
class ImportLimits:
    """Limits of imported files. All chosen by hand, several times what a long score needs."""

    midi_bytes: int = 1_000_000
    """Size of a MIDI file in bytes."""
    musicxml_bytes: int = 16_000_000
    """Size of a MusicXML score in bytes, as a file and unpacked."""
    ratio: int = 200
    """How many times its size a compressed score may have when it is unpacked."""
    notes: int = 4000
    """Notes of a melody."""
    beats: int = 4000
    """Length of a melody in beats, from its first note on."""


LIMITS = ImportLimits()
_NUMBER = re.compile(r"\s*-?\d{1,9}(\.\d{0,9})?\s*")
_log = logging.getLogger(__name__)
Arguments = ParamSpec("Arguments")


def read_limited(path: Path, max_bytes: int) -> bytes:
    """Return the content of a file.

    Raises:
        ExchangeError: it is missing, no file, too large, or cannot be read.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise ExchangeError(f"{path} is a folder, a pipe or a device; name a file")
        with path.open("rb") as file:
            data = file.read(max_bytes + 1)
    except (FileNotFoundError, ValueError):  # ValueError: a NUL character in the path
        raise ExchangeError(f"there is no file {path}") from None
    except OSError as error:
        raise ExchangeError(f"{path} cannot be read: {error.strerror}") from None
    if len(data) > max_bytes:
        raise ExchangeError(
            f"{path} has more than {max_bytes / 1e6:g} MB; export only the part that you want"
        )
    return data


def number(text: str) -> Fraction:
    """Return a number as scores write it; one of a billion digits would take all memory.

    Raises:
        ValueError: it is none, or has more than nine digits.
    """
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"'{text[:20]}' is not a number of at most nine digits")
    return Fraction(text.strip())


def guarded(
    kind: str,
) -> Callable[[Callable[Arguments, Melody]], Callable[Arguments, Melody]]:
    """Return a decorator that checks the limits of a melody, and reports any error as a sentence.

    The decorated function takes the path of a file first.

    Args:
        kind: what the file should be, such as ``MIDI file``.
    """

    def decorate(read: Callable[Arguments, Melody]) -> Callable[Arguments, Melody]:
        @wraps(read)
        def checked(*args: Arguments.args, **options: Arguments.kwargs) -> Melody:
            path = args[0]
            assert isinstance(path, Path)
            try:
                melody = read(*args, **options)
            except TrainerError:
                raise
            except Exception as error:  # whatever a parser meets in a file from outside
                _log.exception("%s cannot be read", path)
                ends = "it ends too early" if isinstance(error, EOFError) else ""
                reason = str(error)[:100] or ends or type(error).__name__
                raise ExchangeError(f"{path} is not a readable {kind}: {reason}") from None
            _check(path, melody)
            return melody

        return checked

    return decorate


def _check(path: Path, melody: Melody) -> None:
    """Check the size of a melody.

    Raises:
        ExchangeError: it has too many notes or beats.
    """
    count, notes = len(melody.notes), melody.notes
    if count > LIMITS.notes:
        raise ExchangeError(f"{path} has {count} notes; split it into files of {LIMITS.notes}")
    ends = [note.start + note.beats for note in notes[-1:]]
    ends += [solo.end for solo in melody.solos[-1:]]
    beats = float(max(ends, default=0.0))
    if beats > LIMITS.beats:
        raise ExchangeError(
            f"{path} has {beats:.0f} beats; split it into files of {LIMITS.beats} at most"
        )
