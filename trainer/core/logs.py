"""Log files, in the user's log folder, and messages on standard error with ``--verbose``.

Modules log with ``logging.getLogger(__name__)``. Each process writes a file of its own, because a
rotating file must have one writer. Records hold names of files and devices, and no audio or marks.
"""

from __future__ import annotations

import contextlib
import logging
import os
import sys
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path

import platformdirs

from trainer.core.files import create_private_file, make_private_folder

VERBOSE_VARIABLE = "TRAINER_VERBOSE"
"""Environment variable that ``--verbose`` sets, so that child processes log the same."""
LOGGER = "trainer"
"""Parent of all loggers of the package."""
MAX_LOG_BYTES = 1_000_000
"""Size at which a log file is rotated. Chosen: weeks of practice."""
OLD_LOGS = 3
"""Rotated files that are kept."""
FILE_FORMAT = "%(asctime)s %(levelname)s %(name)s: %(message)s"
CONSOLE_FORMAT = "%(levelname)s %(name)s: %(message)s"


def log_folder() -> Path:
    """Return the folder of the log files; it may not exist yet."""
    return Path(platformdirs.user_log_dir("trainer", appauthor=False))


def log_file(process: str = LOGGER) -> Path:
    """Return the log file of a process: ``trainer`` or ``trainer-listener``."""
    return log_folder() / f"{process}.log"


def is_verbose() -> bool:
    """Return whether ``--verbose`` was given, here or in the parent process."""
    return os.environ.get(VERBOSE_VARIABLE, "") not in ("", "0")


def start_logging(process: str = LOGGER, *, console: bool = True) -> None:
    """Send the package's log records to the log file, and with ``--verbose`` to standard error.

    A log file that cannot be written is left out silently: logging never stops a command. May be
    called again; the handlers are then replaced.

    Args:
        process: stem of the file's name.
        console: whether ``--verbose`` may write to standard error; not below a full screen.
    """
    logger = logging.getLogger(LOGGER)
    stop_logging()
    logging.raiseExceptions = False  # a full disk must not print tracebacks over the screen
    logger.setLevel(logging.DEBUG if is_verbose() else logging.INFO)
    logger.propagate = False
    file = _PrivateFileHandler(
        log_file(process),
        maxBytes=MAX_LOG_BYTES,
        backupCount=OLD_LOGS,
        encoding="utf-8",
        delay=True,
    )
    file.setFormatter(logging.Formatter(FILE_FORMAT))
    logger.addHandler(file)
    if console and is_verbose():
        stream = _ConsoleHandler()
        stream.setFormatter(logging.Formatter(CONSOLE_FORMAT))
        logger.addHandler(stream)


def stop_logging() -> None:
    """Close the log file and remove all handlers."""
    logger = logging.getLogger(LOGGER)
    for handler in tuple(logger.handlers):
        logger.removeHandler(handler)
        handler.close()


class _PrivateFileHandler(RotatingFileHandler):
    """A rotating log file that only its owner can read, made when the first record comes."""

    def _open(self) -> TextIOWrapper:
        path = Path(self.baseFilename)
        make_private_folder(path.parent)
        with contextlib.suppress(FileExistsError):
            create_private_file(path)
        return super()._open()


class _ConsoleHandler(logging.Handler):
    """Writes to what ``sys.stderr`` is at the moment of the record: it may be redirected."""

    def emit(self, record: logging.LogRecord) -> None:
        """Write one record as a line."""
        with contextlib.suppress(OSError, ValueError):
            print(self.format(record), file=sys.stderr)
