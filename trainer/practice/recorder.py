"""The recorder: results and sound of a take on their way into the journal."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from trainer.marking import Result
from trainer.practice.events import Notice
from trainer.practice.plan import Plan
from trainer.sound import SourceSpec
from trainer.store import Journal, JournalError, TakeRecord, store_audio, with_calibrated_latency

TAKE_FILE = "take.flac"
"""Name of the file that holds a take's sound until it is stored or replaced."""

MIN_KEPT_FRACTION = 0.25
"""Smallest played fraction of a stopped pass that the journal keeps; less is a false start. Chosen
by hand."""


class ResultRecorder:
    """Stores the results of one take. Where that fails, practice goes on unsaved.

    Attributes:
        newest: identifier of the result that was recorded last; None if it is not stored.
    """

    def __init__(self, plan: Plan) -> None:
        self.newest: str | None = None
        self._plan = plan
        self._journal: Journal | None = None
        self._failed = plan.journal is None
        self._reason = ""
        self._records: list[TakeRecord] = []

    def sound_file(self) -> Path | None:
        """Return where the sound of the take is written at first; None if it is not wanted."""
        plan = self._plan
        if plan.source.file is not None or plan.save is not None:
            return plan.save
        if self._stores_sound and self._open() is not None:
            return Path(tempfile.mkdtemp(prefix="take-")) / TAKE_FILE
        if plan.scratch is None or not plan.keeps_sound:
            return None
        flac = plan.scratch / TAKE_FILE
        for old in (flac, flac.with_suffix(".part.flac")):
            old.unlink(missing_ok=True)
        return flac

    def store_sound(self, flac: Path) -> Path | None:
        """Store the sound of the take with its best pass; a take without passes is not stored.

        Returns:
            Where the sound is now; None if it is deleted.

        Raises:
            JournalError: it cannot be stored; it stays where it is.
        """
        plan = self._plan
        if not self._stores_sound or plan.scratch == flac.parent:
            return flac
        stored = None
        if self._records and self._journal is not None:
            best = max(self._records, key=lambda record: (record.whole, record.score))
            stored = store_audio(self._journal, best.id, flac, plan.sound_mb)
        shutil.rmtree(flac.parent)
        return stored

    @property
    def _stores_sound(self) -> bool:
        """Whether the journal stores the sound."""
        plan = self._plan
        return plan.sound_mb is not None and plan.save is None and plan.source.is_live

    def calibrated_source(self) -> SourceSpec:
        """Return the plan's source, with the round trip measured for its devices."""
        source, journal = self._plan.source, self._open()
        if journal is None:
            return source
        try:
            return with_calibrated_latency(journal, source)
        except JournalError:
            return source  # reported when a result is stored

    def _open(self) -> Journal | None:
        if self._journal is None and not self._failed:
            try:
                self._journal = Journal(self._plan.journal)
            except JournalError as error:
                self._reason, self._failed = str(error), True
        return self._journal

    def record(self, result: Result, began: datetime) -> Iterator[Notice]:
        """Store a result, unless it is a false start or silence; yield a notice if that fails.

        Args:
            result: what a pass earned.
            began: when it began, with a time zone.
        """
        plan, journal, self.newest = self._plan, self._open(), None
        if journal is None:
            yield from self._failure()
            return
        if is_false_start(result) or is_silence(result):
            return
        record = TakeRecord.of(
            result,
            plan.harp,
            player=plan.player,
            began=began,
            source=plan.source.kind,
            harp_name=plan.harp_name,
        )
        try:
            journal.add(record)
            self._records.append(record)
            self.newest = record.id
        except JournalError as error:
            self._reason = str(error)
            yield from self._failure()

    def _failure(self) -> Iterator[Notice]:
        """Yield, once, why nothing is stored."""
        reason, self._reason = self._reason, ""
        if reason:
            yield Notice(f"{reason}; practice goes on without the journal")

    def close(self) -> None:
        """Close the journal."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None


def is_false_start(result: Result) -> bool:
    """Return whether a pass was stopped so early that it says nothing about the player."""
    steps = len(result.marks) + result.unplayed
    return result.unplayed > 0 and len(result.marks) < MIN_KEPT_FRACTION * steps


def is_silence(result: Result) -> bool:
    """Return whether nothing was played in a pass: silence is no pass."""
    return not result.extras and all(mark.measured.start is None for mark in result.marks)
