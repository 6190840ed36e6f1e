"""The drill: its model, its text format, the shelf, and beats on the sample clock."""

from trainer.drill.clock import BeatClock
from trainer.drill.errors import DrillError, Problem
from trainer.drill.formatter import format_drill
from trainer.drill.lint import lint_drill
from trainer.drill.model import (
    CRITERIA,
    DEFAULT_WEIGHTS,
    CleannessRule,
    Climb,
    Drill,
    Goal,
    Sound,
    Step,
    Vibrato,
    format_sound,
)
from trainer.drill.parser import parse_drill, read_drill
from trainer.drill.shelf import Shelf, find_drill, read_shelf
from trainer.drill.transpose import find_unplayable, move_to_harp
from trainer.drill.writer import write_drill

__all__ = [
    "CRITERIA",
    "DEFAULT_WEIGHTS",
    "BeatClock",
    "CleannessRule",
    "Climb",
    "Drill",
    "DrillError",
    "Goal",
    "Problem",
    "Shelf",
    "Sound",
    "Step",
    "Vibrato",
    "find_drill",
    "find_unplayable",
    "format_drill",
    "format_sound",
    "lint_drill",
    "move_to_harp",
    "parse_drill",
    "read_drill",
    "read_shelf",
    "write_drill",
]
