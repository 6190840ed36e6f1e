"""Marking a recording and making its page in one go, as the page draws what was heard."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

from trainer.core import TrainerError
from trainer.core.files import replace_file, usual_mode
from trainer.drill import Drill, read_drills_for
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import Fingerprint, MarkedRecording, Plan, code_digest, mark_recording
from trainer.report.advice import advise, wanted_skills
from trainer.report.last_time import Summary
from trainer.report.student_page import StudentReport, marked_span, student_html
from trainer.sound import Recording, SoundError

_KEY = re.compile(r'<meta name="made-from" content="([0-9a-f]{64})">')
_RESERVED = frozenset(
    ("con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in range(1, 10)))
)
"""Names that are no files on Windows, whatever their ending."""
_HEAD_CHARACTERS = 2000
"""Length of the start of a page in which its key stands."""


@dataclass(frozen=True, slots=True)
class PageRequest:
    """What a page shows beside the marks.

    Attributes:
        student: the student's name.
        notes: what is to be known of the recording.
        last: what the student reached last time; None if it is not known.
        remarks: the teacher's words.
        has_sound: whether the take can be heard on it.
        passed_drills: names of the drills that the student is known to have passed.
    """

    student: str = ""
    notes: tuple[str, ...] = ()
    last: Summary | None = None
    remarks: tuple[str, ...] = ()
    has_sound: bool = True
    passed_drills: frozenset[str] = frozenset()

    def key(self, made_from: Fingerprint) -> str:
        """Return the SHA-256 of all that a page follows from."""
        shown = replace(self, passed_drills=frozenset()), sorted(self.passed_drills)
        parts = (sorted(asdict(made_from).items()), shown, code_digest(("report",)))
        return hashlib.sha256(repr(parts).encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class RecordingWithPage(MarkedRecording):
    """A recording with its results and its page.

    Attributes:
        html: the page; empty where it could not be marked.
    """

    html: str = ""


def mark_with_page(plan: Plan, request: PageRequest, key: str = "") -> RecordingWithPage:
    """Mark a recording and make its page; errors are reported in the result and not raised.

    Args:
        plan: of the recording.
        request: what the page shows beside the marks.
        key: what :func:`page_key` returns for the page; empty for none.
    """
    readings: list[Reading] = []
    marked = mark_recording(plan, readings)
    html, trouble = "", marked.trouble
    if marked.best is not None:
        try:
            html = student_html(report_recording(plan, marked, readings, request), key)
        except SoundError as error:
            trouble = str(error)
    return RecordingWithPage(marked.path, marked.passes, trouble, marked.notes, html)


def report_recording(
    plan: Plan, marked: MarkedRecording, readings: Sequence[Reading], request: PageRequest
) -> StudentReport:
    """Return what the page of a recording's best pass shows.

    Raises:
        SoundError: the recording cannot be read again.
    """
    best = marked.best
    assert best is not None
    opened = Recording(marked.path)
    try:
        end = round(marked_span(best, opened.rate)[1] * opened.rate)
        samples = opened.whole(end) if request.has_sound else None
    finally:
        opened.close()
    return StudentReport(
        best,
        _marked_harp(plan.harp, best.harp),
        readings,
        samples,
        opened.rate,
        marked.path.name,
        advise(best, _drills_for(best), request.passed_drills),
        request.student,
        (*request.notes, *marked.notes),
        request.last,
        request.remarks,
    )


def _marked_harp(planned: Harp, marked: str) -> Harp:
    """Return the harp that a recording was marked on, which may be another than planned."""
    if marked == planned.name:
        return planned
    key = marked.partition(",")[0]
    a4, temperament = planned.a4, planned.temperament.name
    return Harp.of(key, planned.tuning.name, a4=a4, temperament_name=temperament)


def page_key(path: Path) -> str:
    """Return the key of a page that was made before; empty if there is none."""
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            match = _KEY.search(file.read(_HEAD_CHARACTERS))
    except OSError:
        return ""
    return match[1] if match else ""


def write_page(path: Path, html: str) -> None:
    """Write a page in place of an older one, whole or not at all.

    Raises:
        TrainerError: it cannot be written.
    """
    try:
        replace_file(path, html.encode("utf-8", "replace"), mode=usual_mode())
    except OSError as error:
        raise TrainerError(
            f"{path} cannot be written ({error.strerror}); choose another place"
        ) from None


def page_names(names: Sequence[str]) -> list[str]:
    """Return file names for the pages of some students, all different on every system."""
    taken: set[str] = set()
    pages = []
    for name in names:
        stem = re.sub(r"[^\w]+", "-", name).strip("-_")[:80] or "student"
        if stem.casefold() in _RESERVED:
            stem += "-page"
        page, number = stem, 1
        while page.casefold() in taken:
            number += 1
            page = f"{stem}-{number}"
        taken.add(page.casefold())
        pages.append(f"{page}.html")
    return pages


def _drills_for(result: Result) -> tuple[Drill, ...]:
    """Return the drills that may be proposed after a result."""
    skills = wanted_skills(result)
    return _read_drills_for(skills, result.drill.level) if skills else ()


_read_drills_for = cache(read_drills_for)
