"""Reading UTF-8 text files, with errors that name the file and the place."""

from __future__ import annotations

from enum import Enum
from pathlib import Path

from trainer.core.errors import TrainerError


class ReadFailure(Enum):
    """Why a text file cannot be read."""

    MISSING = "missing"
    NOT_A_FILE = "not a file"
    TOO_LARGE = "too large"
    NOT_UTF8 = "not UTF-8"
    SYSTEM = "system"


class TextFileError(TrainerError):
    """A text file that cannot be read.

    Attributes:
        failure: the kind of failure.
        reason: what is wrong, without the path.
        line, column: where the first undecodable byte is, from 1; 0 for other failures.
    """

    def __init__(
        self, path: Path, failure: ReadFailure, reason: str, line: int = 0, column: int = 0
    ) -> None:
        place = f"{path}:{line}:{column}" if line else str(path)
        super().__init__(f"{place}: {reason}")
        self.failure, self.reason = failure, reason
        self.line, self.column = line, column


def read_text_file(path: Path, *, max_bytes: int | None = None) -> str:
    """Return the text of a UTF-8 file, line ends and byte order mark unchanged.

    Args:
        path: the file.
        max_bytes: size from which a file is refused; None reads any size.

    Raises:
        TextFileError: the file is missing, no regular file, too large, not UTF-8 or unreadable.
    """
    try:
        if path.exists() and not path.is_file():
            raise TextFileError(path, ReadFailure.NOT_A_FILE, "not a file")
        if max_bytes is not None and path.exists() and path.stat().st_size > max_bytes:
            raise TextFileError(path, ReadFailure.TOO_LARGE, "the file is too large")
        with path.open("rb") as file:
            data = file.read(-1 if max_bytes is None else max_bytes + 1)
    except (FileNotFoundError, ValueError):  # ValueError: a NUL character in the path
        raise TextFileError(path, ReadFailure.MISSING, "the file is missing") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise TextFileError(path, ReadFailure.SYSTEM, reason) from None
    return decode_utf8(path, data)


def decode_utf8(path: Path, data: bytes) -> str:
    """Decode the content of a text file.

    Raises:
        TextFileError: it is not UTF-8; the error has line and column of the first wrong byte.
    """
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        valid = data[: error.start].decode("utf-8")
        line, column = valid.count("\n") + 1, len(valid) - valid.rfind("\n")
        reason = "the file is not UTF-8 text from here on; save it as UTF-8"
        raise TextFileError(path, ReadFailure.NOT_UTF8, reason, line, column) from None


def normalize_text(text: str) -> str:
    """Return a text without byte order mark and with LF line ends, as positions count in it."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n")
