"""The recorder: results and sound of a take on their way into the journal."""

from __future__ import annotations

import contextlib
import logging
import shutil
import tempfile
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from trainer.marking import Mark, Result, pass_score
from trainer.practice.events import Notice
from trainer.practice.plan import Plan
from trainer.practice.running import TAKE_FILE, RunningTake, adopt_cut_off_takes
from trainer.sound import SourceSpec
from trainer.store import (
    Journal,
    JournalError,
    StepRecord,
    TakeRecord,
    flush_journal,
    store_audio,
    take_notices,
    with_calibrated_latency,
)

_log = logging.getLogger(__name__)

MIN_KEPT_FRACTION = 0.25
"""Smallest played fraction of a stopped pass that the journal keeps; less is a false start. Chosen
by hand."""


@dataclass(slots=True)
class _PartialPass:
    """The running pass, as far as it is marked.

    Attributes:
        id: identifier of its take.
        marks: the latest mark of each step, by the step's index.
        unstored: those that the journal lacks.
    """

    id: str
    marks: dict[int, Mark] = field(default_factory=dict)
    unstored: dict[int, Mark] = field(default_factory=dict)


class ResultRecorder:
    """Stores the results of one take. Where that fails, practice goes on unsaved.

    Attributes:
        newest: identifier of the result that was recorded last; None if it is not stored.
        keeps_all: whether even a false start is stored: it was not the player who stopped it.
    """

    def __init__(self, plan: Plan) -> None:
        self.newest: str | None = None
        self.keeps_all = False
        self._plan = plan
        self._journal: Journal | None = None
        self._failed = plan.journal is None
        self._reason = ""
        self._records: list[TakeRecord] = []
        self._partial: _PartialPass | None = None
        self._running: RunningTake | None = None
        self._flushing: threading.Thread | None = None

    def sound_file(self) -> Path | None:
        """Return where the sound of the take is written at first; None if it is not wanted."""
        plan = self._plan
        if plan.source.file is not None or plan.save is not None:
            return plan.save
        if self._stores_sound and self._open() is not None:
            return self._sound_folder() / TAKE_FILE
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
        else:
            flac.unlink()
        if self._running is None:
            shutil.rmtree(flac.parent)
        return stored

    def _sound_folder(self) -> Path:
        """Return the folder in which the sound is kept until the take has ended."""
        if self._running is not None:
            return self._running.folder
        return Path(tempfile.mkdtemp(prefix="take-"))

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

    def begin(self) -> Iterator[Notice]:
        """Begin the take; yield what happened to the journal, and to takes that were cut off."""
        journal, plan = self._open(), self._plan
        if journal is not None and plan.source.file is None:
            adopt_cut_off_takes(journal, plan.sound_mb)
            with contextlib.suppress(OSError):  # its sound would be lost with the process
                self._running = RunningTake(journal)
        yield from map(Notice, take_notices())

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
        journal, self.newest = self._open(), None
        partial, self._partial = self._partial, None
        if journal is None:
            yield from self._failure()
            return
        kept = not is_silence(result) and (self.keeps_all or not is_false_start(result))
        record = self._record_of(result, began)
        if partial is not None:
            record = replace(record, id=partial.id)
        try:
            if not kept:
                if partial is not None:
                    journal.discard(partial.id)
                return
            journal.put(record)
            self._flush(journal)
            self._records.append(replace(record, steps=()))  # steps would fill the memory
            self.newest = record.id
        except JournalError as error:
            self._reason = str(error)
            yield from self._failure()

    def record_step(self, mark: Mark, began: datetime, tempo: float | None) -> bool:
        """Store a step of the running pass, so that it outlives the process.

        Until the pass has ended, the journal holds it as a part. Where a step cannot be stored at
        once, it is stored with the next.

        Args:
            mark: its mark so far.
            began: when the pass began, with a time zone.
            tempo: beats per minute of the pass; None for those of the plan.

        Returns:
            Whether it is the first of its pass.
        """
        plan, journal = self._plan, self._open()
        if journal is None or plan.drill is None or plan.source.file is not None:
            return False
        is_first = self._partial is None
        if self._partial is None:
            self._partial = _PartialPass(uuid4().hex)
        partial = self._partial
        partial.marks[mark.step.index] = partial.unstored[mark.step.index] = mark
        if all(each.measured.start is None for each in partial.marks.values()):
            return is_first
        marks = tuple(partial.marks[index] for index in sorted(partial.marks))
        score = pass_score(plan.drill, marks)
        tempo = tempo or plan.first_tempo
        result = Result(plan.drill, plan.harp.name, tempo, marks, score, passed=False, unplayed=1)
        take = replace(self._record_of(result, began), id=partial.id, whole=False)
        steps = [StepRecord.of(each, plan.harp) for each in partial.unstored.values()]
        try:
            journal.put_part(replace(take, steps=()), steps)
            partial.unstored.clear()
        except JournalError as error:
            _log.warning("a step is not in the journal yet: %s", error)
        return is_first

    def note_pass(self, tags: Mapping[str, Any]) -> None:
        """Note what the sound is to be saved with, in case the process is killed."""
        if self._running is not None:
            takes = [record.id for record in self._records]
            partial = [self._partial.id] if self._partial is not None else []
            self._running.note([*takes, *partial], tags, self._plan.save)

    def _record_of(self, result: Result, began: datetime) -> TakeRecord:
        plan = self._plan
        return TakeRecord.of(
            result,
            plan.harp,
            player=plan.player,
            began=began,
            source=plan.source.kind,
            harp_name=plan.harp_name,
        )

    def _failure(self) -> Iterator[Notice]:
        """Yield, once, why nothing is stored."""
        reason, self._reason = self._reason, ""
        if reason:
            yield Notice(f"{reason}; practice goes on without the journal")

    def _flush(self, journal: Journal) -> None:
        """Write the journal to the disk in a thread: on a busy disk the ear would miss seconds."""
        if self._flushing is None or not self._flushing.is_alive():
            self._flushing = threading.Thread(
                target=flush_journal, args=(journal.path,), name="journal", daemon=True
            )
            self._flushing.start()

    def close(self) -> None:
        """Close the journal; a pass that ended without a result leaves nothing in it."""
        if self._journal is not None:
            if self._partial is not None and not self.keeps_all:
                with contextlib.suppress(JournalError):
                    self._journal.discard(self._partial.id)
            if self._flushing is not None:
                self._flushing.join()
            flush_journal(self._journal.path)  # what was written since
            self._journal.close()
            self._journal = None
        if self._running is not None:
            self._running.close()
            self._running = None


def is_false_start(result: Result) -> bool:
    """Return whether a pass was stopped so early that it says nothing about the player."""
    steps = len(result.marks) + result.unplayed
    return result.unplayed > 0 and len(result.marks) < MIN_KEPT_FRACTION * steps


def is_silence(result: Result) -> bool:
    """Return whether nothing was played in a pass: silence is no pass."""
    return not result.extras and all(mark.measured.start is None for mark in result.marks)
