"""A take as lines of plain text, for screen readers, pipes and logs."""

from __future__ import annotations

from trainer.practice import (
    Beat,
    Ended,
    Event,
    Failed,
    Finished,
    Heard,
    Marked,
    Noted,
    Notice,
    Paused,
    Resumed,
    Started,
)
from trainer.report.heard import note_line
from trainer.report.result import mark_line, result_text


class Lines:
    """Turns the events of one take into lines, one for each thing that a player would want to
    be told; readings are not.

    Args:
        width: cells of a line of the closing table.
    """

    def __init__(self, width: int = 80) -> None:
        self._width = width
        self._count_in = 0
        self._marked: set[int] = set()

    def lines(self, event: Event) -> list[str]:
        """The lines that an event is worth; none for most."""
        match event:
            case Heard():
                return []
            case Noted(note):
                return note_line(note).splitlines()
            case Beat(number):
                return self._count(number)
            case Marked(mark):
                again = mark.step.index in self._marked
                self._marked.add(mark.step.index)
                return [mark_line(mark) + (" (marked anew)" if again else "")]
            case Started(clock, first, last, source, clicks):
                self._count_in = 0
                self._marked.clear()
                if last == 0:
                    return [f"Listening to {source}."]
                if clock is None:
                    return [f"Listening to {source}: each step waits until it is held in tune."]
                heard = "with a click" if clicks else "silent"
                steps = f"steps {first + 1} to {last}" if last - first != 1 else f"step {last}"
                return [f"Listening to {source}: {steps}, count-in {heard}."]
            case Ended(result):
                return ["", *result_text(result, self._width).splitlines()]
            case Paused(sentence, None):
                return [f"Paused: {sentence}"]
            case Paused(bar=bar):
                return [f"Paused; on from bar {bar}."]
            case Resumed():
                return ["On with what is left."]
            case Notice(sentence):
                return [f"Note: {sentence}"]
            case Failed(sentence):
                return [f"Stopped: {sentence}"]
            case Finished(saved):
                return [f"The sound is kept in {saved}."] if saved else []

    def _count(self, number: int) -> list[str]:
        self._count_in = max(self._count_in, -number)
        if number >= 0:
            return []
        return [f"count-in {self._count_in + number + 1} of {self._count_in}"]
