"""What to practise: what is due, what is weak, the daily set, and progress.

Names are imported on first use, because scheduling loads a library that most commands do not need.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr

if TYPE_CHECKING:
    from trainer.coach.daily_set import DailySet, Missing, available_traits, open_daily_set
    from trainer.coach.due import DrillStatus, drill_statuses
    from trainer.coach.parameters import DURATION, FOCUS_DAYS, PLACEMENT, TREND
    from trainer.coach.placement import (
        CoachError,
        PlacementTest,
        Track,
        find_focus,
        place_by_hand,
    )
    from trainer.coach.plateau import Plateau
    from trainer.coach.selection import Wishes, choose_entries
    from trainer.coach.set_entry import Reason, SetEntry, score_floor
    from trainer.coach.standing import (
        StageStanding,
        course_standing,
        passed_drills,
        playable_course,
    )
    from trainer.coach.step_table import METRICS, Metric, StepSummary, StepTable
    from trainer.coach.tolerance import present_tolerance
    from trainer.coach.traits import DrillTraits
    from trainer.coach.trend_model import SeriesPoint, Trend, TrendVerdict, TrendWindow
    from trainer.coach.trends import (
        WEEK,
        Comparison,
        ComparisonVerdict,
        Overview,
        Period,
        PracticeSummary,
        PracticeTime,
        Progress,
        SoloProgress,
        SoloTrend,
        SubjectKind,
        overview,
        overview_at,
    )
    from trainer.coach.weaknesses import (
        DayTries,
        SuccessRate,
        Trait,
        TraitKind,
        count_tries,
        find_weaknesses,
        success_rates,
    )
else:
    __getattr__ = lazy_getattr(
        __name__,
        {
            "daily_set": ["DailySet", "Missing", "available_traits", "open_daily_set"],
            "due": ["DrillStatus", "drill_statuses"],
            "parameters": ["DURATION", "FOCUS_DAYS", "PLACEMENT", "TREND"],
            "placement": [
                *("CoachError", "PlacementTest", "Track"),
                *("find_focus", "place_by_hand"),
            ],
            "plateau": ["Plateau"],
            "selection": ["Wishes", "choose_entries"],
            "set_entry": ["Reason", "SetEntry", "score_floor"],
            "standing": ["StageStanding", "course_standing", "passed_drills", "playable_course"],
            "step_table": ["METRICS", "Metric", "StepSummary", "StepTable"],
            "tolerance": ["present_tolerance"],
            "traits": ["DrillTraits"],
            "trend_model": ["SeriesPoint", "Trend", "TrendVerdict", "TrendWindow"],
            "trends": [
                *(
                    "WEEK",
                    "Comparison",
                    "ComparisonVerdict",
                    "Overview",
                    "Period",
                    "PracticeSummary",
                ),
                *("PracticeTime", "Progress", "SoloProgress", "SoloTrend", "SubjectKind"),
                *("overview", "overview_at"),
            ],
            "weaknesses": [
                *("DayTries", "SuccessRate", "Trait", "TraitKind"),
                *("count_tries", "find_weaknesses", "success_rates"),
            ],
        },
    )

__all__ = [
    "DURATION",
    "FOCUS_DAYS",
    "METRICS",
    "PLACEMENT",
    "TREND",
    "WEEK",
    "CoachError",
    "Comparison",
    "ComparisonVerdict",
    "DailySet",
    "DayTries",
    "DrillStatus",
    "DrillTraits",
    "Metric",
    "Missing",
    "Overview",
    "Period",
    "PlacementTest",
    "Plateau",
    "PracticeSummary",
    "PracticeTime",
    "Progress",
    "Reason",
    "SeriesPoint",
    "SetEntry",
    "SoloProgress",
    "SoloTrend",
    "StageStanding",
    "StepSummary",
    "StepTable",
    "SubjectKind",
    "SuccessRate",
    "Track",
    "Trait",
    "TraitKind",
    "Trend",
    "TrendVerdict",
    "TrendWindow",
    "Wishes",
    "available_traits",
    "choose_entries",
    "count_tries",
    "course_standing",
    "drill_statuses",
    "find_focus",
    "find_weaknesses",
    "open_daily_set",
    "overview",
    "overview_at",
    "passed_drills",
    "place_by_hand",
    "playable_course",
    "present_tolerance",
    "score_floor",
    "success_rates",
]
