"""The drill: its model, its text format, the shelf, and beats on the sample clock."""

from trainer.drill.clock import Clock
from trainer.drill.doubts import doubts_of
from trainer.drill.errors import DrillError, Problem
from trainer.drill.file import parse_drill, read_drill
from trainer.drill.layout import laid_out
from trainer.drill.model import (
    PARTS,
    WEIGHTS,
    Care,
    Climb,
    Drill,
    Goal,
    Sound,
    Step,
    Vibrato,
    sound_text,
)
from trainer.drill.move import on_harp, unplayable
from trainer.drill.shelf import Shelf, find, read_shelf
from trainer.drill.write import write_drill

__all__ = [
    "PARTS",
    "WEIGHTS",
    "Care",
    "Climb",
    "Clock",
    "Drill",
    "DrillError",
    "Goal",
    "Problem",
    "Shelf",
    "Sound",
    "Step",
    "Vibrato",
    "doubts_of",
    "find",
    "laid_out",
    "on_harp",
    "parse_drill",
    "read_drill",
    "read_shelf",
    "sound_text",
    "unplayable",
    "write_drill",
]
