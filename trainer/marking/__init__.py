"""Following a drill, measuring its steps, and scoring them.

One path: :class:`Marker` (or :class:`FreeMarker`, where the clock is free) observes readings; the
follower assigns them to steps; :mod:`~trainer.marking.measurement` measures each step;
:mod:`~trainer.marking.criteria` turns the figures into points on each criterion, and
:mod:`~trainer.marking.score` these into a score;
:mod:`~trainer.marking.sentence` puts them in words.
"""

from trainer.marking.criteria import CriterionScore, ScoreTerm, score_criteria
from trainer.marking.free_marker import FreeMarker
from trainer.marking.free_performance import FreePass, OtherPitchError, find_free_passes
from trainer.marking.habits import (
    Habit,
    PlayedNote,
    common_criteria,
    find_habits,
    is_common,
    note_habits,
    possible_habits,
)
from trainer.marking.live_follower import LiveFollower, Position
from trainer.marking.mark import ExtraNote, Figures, Mark, Measured, Result
from trainer.marking.marker import Marker, make_mark
from trainer.marking.pass_search import StartError, find_passes, find_start
from trainer.marking.performance import Performance, Remark, Try
from trainer.marking.score import ScoreBreakdown, aim_score, break_down, mean_score, pass_score
from trainer.marking.sentence import describe_sound
from trainer.marking.solo_mark import SoloMark, SoloMeasured, SoloNote

__all__ = [
    "CriterionScore",
    "ExtraNote",
    "Figures",
    "FreeMarker",
    "FreePass",
    "Habit",
    "LiveFollower",
    "Mark",
    "Marker",
    "Measured",
    "OtherPitchError",
    "Performance",
    "PlayedNote",
    "Position",
    "Remark",
    "Result",
    "ScoreBreakdown",
    "ScoreTerm",
    "SoloMark",
    "SoloMeasured",
    "SoloNote",
    "StartError",
    "Try",
    "aim_score",
    "break_down",
    "common_criteria",
    "describe_sound",
    "find_free_passes",
    "find_habits",
    "find_passes",
    "find_start",
    "is_common",
    "make_mark",
    "mean_score",
    "note_habits",
    "pass_score",
    "possible_habits",
    "score_criteria",
]
