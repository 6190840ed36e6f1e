"""Drills: model, text format, lint, the shelf, fingerings, and moving drills to other harps.

The fields of drill files (:mod:`trainer.drill.header`) and their JSON Schema
(:mod:`trainer.drill.schema`) load pydantic and are imported from their modules where needed.
"""

from trainer.drill.aim import Aim, can_measure, describe_aim
from trainer.drill.clock import BeatClock, TempoChange
from trainer.drill.course import Stage, course_place, read_course
from trainer.drill.difficulty import describe_difficulty, passage_difficulty
from trainer.drill.errors import DrillError
from trainer.drill.fingerings import TargetPitch, step_fingerings, target_pitches
from trainer.drill.formatter import format_drill, overwrite_drill
from trainer.drill.lint import lint_drill
from trainer.drill.melody import (
    Melody,
    MelodyNote,
    arrange_as_written,
    arrange_on_harps,
    half_steps_to_position,
    standard_harps,
)
from trainer.drill.model import (
    AIM_CRITERIA,
    CRITERIA,
    DEFAULT_DIP,
    DEFAULT_FALL,
    DEFAULT_SHAKE_HZ,
    DEFAULT_WEIGHTS,
    Articulation,
    CleannessRule,
    Climb,
    Drill,
    Goal,
    Inflection,
    Shake,
    Sound,
    Step,
    Tightening,
    Vibrato,
    VibratoKind,
    format_sound,
    neighbouring_hole,
)
from trainer.drill.parser import parse_drill, read_drill, read_drill_text
from trainer.drill.position import (
    POSITION,
    PitchEvent,
    drill_position,
    likeliest_position,
    position_log_probabilities,
)
from trainer.drill.shelf import (
    DRILL_SUFFIX,
    Shelf,
    drill_files,
    expand_drill_paths,
    find_drill,
    read_drills_for,
    read_shelf,
)
from trainer.drill.tab_words import (
    FORMER_DIRECTIONS,
    MIN_LENGTH_BEATS,
    TabError,
    parse_tab_note,
)
from trainer.drill.template import drill_template, new_drill_path, write_new_drill
from trainer.drill.tempo_curve import Clock, TempoCurve
from trainer.drill.transpose import (
    OCTAVE_SHIFTS,
    Arrangement,
    arrangement_position,
    arrangements_for_harp,
    arrangements_for_tuning,
    easiest_fingerings,
    find_unplayable,
    move_by_holes,
    move_to_harp,
    rank_arrangements,
    written_harp,
)
from trainer.drill.writer import CALL_PREFIX, read_step, step_directions, step_text, write_drill

__all__ = [
    "AIM_CRITERIA",
    "CALL_PREFIX",
    "CRITERIA",
    "DEFAULT_DIP",
    "DEFAULT_FALL",
    "DEFAULT_SHAKE_HZ",
    "DEFAULT_WEIGHTS",
    "DRILL_SUFFIX",
    "FORMER_DIRECTIONS",
    "MIN_LENGTH_BEATS",
    "OCTAVE_SHIFTS",
    "POSITION",
    "Aim",
    "Arrangement",
    "Articulation",
    "BeatClock",
    "CleannessRule",
    "Climb",
    "Clock",
    "Drill",
    "DrillError",
    "Goal",
    "Inflection",
    "Melody",
    "MelodyNote",
    "PitchEvent",
    "Shake",
    "Shelf",
    "Sound",
    "Stage",
    "Step",
    "TabError",
    "TargetPitch",
    "TempoChange",
    "TempoCurve",
    "Tightening",
    "Vibrato",
    "VibratoKind",
    "arrange_as_written",
    "arrange_on_harps",
    "arrangement_position",
    "arrangements_for_harp",
    "arrangements_for_tuning",
    "can_measure",
    "course_place",
    "describe_aim",
    "describe_difficulty",
    "drill_files",
    "drill_position",
    "drill_template",
    "easiest_fingerings",
    "expand_drill_paths",
    "find_drill",
    "find_unplayable",
    "format_drill",
    "format_sound",
    "half_steps_to_position",
    "likeliest_position",
    "lint_drill",
    "move_by_holes",
    "move_to_harp",
    "neighbouring_hole",
    "new_drill_path",
    "overwrite_drill",
    "parse_drill",
    "parse_tab_note",
    "passage_difficulty",
    "position_log_probabilities",
    "rank_arrangements",
    "read_course",
    "read_drill",
    "read_drill_text",
    "read_drills_for",
    "read_shelf",
    "read_step",
    "standard_harps",
    "step_directions",
    "step_fingerings",
    "step_text",
    "target_pitches",
    "write_drill",
    "write_new_drill",
    "written_harp",
]
