"""Blocks of a source, through losses of the sound."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from trainer.ear import Reading
from trainer.practice.events import Event, Notice, TakePaused, TakeResumed
from trainer.sound import Block, Source, SourceGapError, SourceLost

RETRY_S = 0.4
"""Time between attempts to reopen a lost source, in seconds."""


@dataclass(frozen=True, slots=True)
class AnalysedBlock:
    """A block, with its readings where it was analysed before.

    Attributes:
        block: the block.
        readings: all readings that end in it; None if it has to be analysed.
    """

    block: Block
    readings: list[Reading] | None = None


class Recovery:
    """Reads a source and reopens it when it is lost.

    Args:
        source: the source.
        analysed: blocks of the source that were read and analysed before; taken from here first.
        should_stop: called while the source is lost.

    Attributes:
        slept: whether the blocks ended because the computer slept.
    """

    def __init__(
        self, source: Source, analysed: deque[AnalysedBlock], should_stop: Callable[[], bool]
    ) -> None:
        self._source, self._analysed, self._should_stop = source, analysed, should_stop
        self.slept = False

    def blocks(self) -> Iterator[AnalysedBlock | Event]:
        """Yield blocks, and events where the source is lost and comes back; end at a long gap."""
        if self._analysed:
            while self._analysed:
                yield self._analysed.popleft()
            return
        while True:
            try:
                yield from map(AnalysedBlock, self._source.blocks())
                return
            except SourceGapError as error:
                self.slept = True
                yield Notice(str(error))
                return
            except SourceLost as error:
                yield TakePaused(str(error))
            if not self._wait_until_reopened():
                return
            yield TakeResumed()

    def _wait_until_reopened(self) -> bool:
        """Wait until the source is back; return False if the player stopped the take first."""
        while not self._should_stop():
            try:
                self._source.reopen()
                return True
            except SourceLost:
                time.sleep(RETRY_S)
        return False
