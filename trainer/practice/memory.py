"""Results on their way into the journal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from trainer.journal import Journal, JournalError, TakeRecord
from trainer.marking import Result
from trainer.practice.events import Notice
from trainer.practice.plan import Plan
from trainer.sound import MicrophoneSpec, RecordingSpec


class Memory:
    """Keeps the results of one take. Where that cannot be done, practice goes on unsaved."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._journal: Journal | None = None
        self._failed = plan.journal is None

    def keep(self, result: Result, began: datetime) -> Iterator[Notice]:
        """Keep a result; a notice says so if it cannot be kept.

        Args:
            result: what a pass earned.
            began: when it began, aware.
        """
        if self._failed:
            return
        plan = self._plan
        record = TakeRecord.of(
            result,
            plan.harp,
            player=plan.player,
            began=began,
            source=_kind(plan),
            harp_name=plan.harp_name,
        )
        try:
            if self._journal is None:
                self._journal = Journal(plan.journal)
            self._journal.add(record)
        except JournalError as error:
            self._failed = True
            yield Notice(f"{error}; practice goes on, and is not remembered")

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
