"""A teacher's own words on a student: a text file beside the student's page, which is theirs alone.

The page of ``anna.html`` shows ``anna.remarks.md``. The trainer reads it and adds to its end, and
never changes what is in it, so that the words survive every new marking.
"""

from __future__ import annotations

import re
from pathlib import Path

from trainer.core import TrainerError
from trainer.core.files import replace_file, usual_mode
from trainer.core.text_files import ReadFailure, TextFileError, normalize_text, read_text_file

MAX_BYTES = 100_000
"""Largest file of remarks that is read."""


def remarks_path(page: Path) -> Path:
    """Return the file of remarks that belongs to a page."""
    return page.with_name(f"{page.stem}.remarks.md")


def read_remarks(path: Path) -> tuple[str, ...]:
    """Return the paragraphs of a file of remarks; none where there is no file.

    Raises:
        TrainerError: it cannot be read.
    """
    try:
        text = normalize_text(read_text_file(path, max_bytes=MAX_BYTES))
    except TextFileError as error:
        if error.failure is ReadFailure.MISSING:
            return ()
        raise
    paragraphs = (" ".join(part.split()) for part in re.split(r"\n\s*\n", text))
    return tuple(paragraph for paragraph in paragraphs if paragraph)


def add_remark(path: Path, remark: str) -> None:
    """Add a paragraph to a file of remarks, which is created if it is missing.

    Raises:
        TrainerError: it cannot be read or written; what is in it stays.
    """
    old = ""
    if path.exists():
        old = read_text_file(path, max_bytes=MAX_BYTES).rstrip() + "\n\n"
    try:
        replace_file(path, f"{old}{remark.strip()}\n".encode(), mode=usual_mode())
    except OSError as error:
        raise TrainerError(f"{path} cannot be written ({error.strerror})") from None
