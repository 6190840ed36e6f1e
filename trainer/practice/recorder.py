"""Results on their way into the journal."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from trainer.marking import Result
from trainer.practice.events import Notice
from trainer.practice.plan import Plan
from trainer.sound import MicrophoneSpec, RecordingSpec, SourceSpec
from trainer.store import Journal, JournalError, TakeRecord
from trainer.store.audio import store_audio
from trainer.store.calibrations import with_calibrated_latency

SOUND = "take.flac"


class ResultRecorder:
    """Keeps the results of one take. Where that cannot be done, practice goes on unsaved."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._journal: Journal | None = None
        self._failed = plan.journal is None
        self._why = ""
        self._takes: list[TakeRecord] = []

    def sound_file(self) -> Path | None:
        """Where the sound of the take is to be written at first; None if it is not wanted."""
        plan = self._plan
        if isinstance(plan.source, RecordingSpec) or plan.save is not None:
            return plan.save
        if self._keeps and self._open() is not None:
            return Path(tempfile.mkdtemp(prefix="take-")) / SOUND
        if plan.scratch is None:
            return None
        flac = plan.scratch / SOUND
        for old in (flac, flac.with_suffix(".part.flac")):
            old.unlink(missing_ok=True)
        return flac

    def keep_sound(self, flac: Path) -> Path | None:
        """Keep the sound of all passes with the best of them; a take of none is not kept.

        Returns:
            where it is now; None if it is gone.

        Raises:
            JournalError: it cannot be kept; it stays where it is.
        """
        plan = self._plan
        if not self._keeps or plan.scratch == flac.parent:
            return flac
        kept = None
        if self._takes and self._journal is not None:
            best = max(self._takes, key=lambda take: (take.whole, take.score))
            kept = store_audio(self._journal, best.id, flac, plan.sound_mb)
        shutil.rmtree(flac.parent)
        return kept

    @property
    def _keeps(self) -> bool:
        """Whether the journal is to keep the sound."""
        plan = self._plan
        asked = plan.sound_mb is not None and plan.save is None
        return asked and isinstance(plan.source, MicrophoneSpec)

    def source(self) -> SourceSpec:
        """The source of the plan; a microphone with the round trip that was measured for it."""
        source, journal = self._plan.source, self._open()
        if not isinstance(source, MicrophoneSpec) or journal is None:
            return source
        try:
            return with_calibrated_latency(journal, source)
        except JournalError:
            return source  # whoever writes into it tells

    def _open(self) -> Journal | None:
        if self._journal is None and not self._failed:
            try:
                self._journal = Journal(self._plan.journal)
            except JournalError as error:
                self._why, self._failed = str(error), True
        return self._journal

    def keep(self, result: Result, began: datetime) -> Iterator[Notice]:
        """Keep a result; a notice says so if it cannot be kept.

        Args:
            result: what a pass earned.
            began: when it began, aware.
        """
        plan, journal = self._plan, self._open()
        if journal is None:
            yield from self._told()
            return
        record = TakeRecord.of(
            result,
            plan.harp,
            player=plan.player,
            began=began,
            source=_kind(plan),
            harp_name=plan.harp_name,
        )
        try:
            journal.add(record)
            self._takes.append(record)
        except JournalError as error:
            self._why = str(error)
            yield from self._told()

    def _told(self) -> Iterator[Notice]:
        """Once, why nothing is remembered."""
        why, self._why = self._why, ""
        if why:
            yield Notice(f"{why}; practice goes on, and is not remembered")

    def close(self) -> None:
        """Let go of the journal."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None


def _kind(plan: Plan) -> str:
    match plan.source:
        case MicrophoneSpec():
            return "microphone"
        case RecordingSpec():
            return "recording"
    return "player"
