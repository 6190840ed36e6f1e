"""Log the events of a take that help to explain a problem afterwards."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator

from trainer.practice.events import (
    Event,
    Notice,
    PassStarted,
    ReadingHeard,
    SilenceEnded,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
    WaitStarted,
)

_log = logging.getLogger(__name__)


def logged(events: Iterable[Event]) -> Iterator[Event]:
    """Yield events unchanged, and log sources, interruptions, notices and failures."""
    for event in events:
        match event:
            case ReadingHeard():
                pass
            case PassStarted(source=source, first=first, last=last):
                _log.info("source open: %s; pass of steps %d to %d", source, first, last)
            case TakePaused(sentence=sentence) if sentence:
                _log.warning("source lost: %s", sentence)
            case TakePaused():
                _log.info("paused")
            case WaitStarted(until=until, armed=True):
                _log.info("waiting for a note%s", "" if until is None else f" until {until}")
            case SilenceEnded():
                _log.info("nothing was played for too long")
            case TakeResumed():
                _log.info("resumed")
            case Notice(sentence=sentence):
                _log.info("notice: %s", sentence)
            case TakeFailed(sentence=sentence):
                _log.error("take failed: %s", sentence)
            case TakeFinished():
                _log.info("take finished")
        yield event
