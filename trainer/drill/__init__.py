"""The drill: its model, its text format, the shelf, and beats on the sample clock."""

from trainer.drill.clock import Clock
from trainer.drill.errors import DrillError, Problem
from trainer.drill.formatter import laid_out
from trainer.drill.lint import doubts_of
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
from trainer.drill.parser import parse_drill, read_drill
from trainer.drill.shelf import Shelf, find, read_shelf
from trainer.drill.transpose import on_harp, unplayable
from trainer.drill.writer import write_drill

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
