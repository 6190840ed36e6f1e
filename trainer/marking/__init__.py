"""Following a drill, deciding each step's mark, and the score."""

from trainer.marking.free_marker import FreeMarker
from trainer.marking.mark import ExtraNote, Mark, Measured, Result
from trainer.marking.marker import Marker
from trainer.marking.pass_search import StartError, find_passes, find_start

__all__ = [
    "ExtraNote",
    "FreeMarker",
    "Mark",
    "Marker",
    "Measured",
    "Result",
    "StartError",
    "find_passes",
    "find_start",
]
