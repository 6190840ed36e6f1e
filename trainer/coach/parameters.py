"""Parameters of coaching: one frozen object for each stage.

"Chosen by hand" means that no fit to data is on record. The daily set as a whole is compared with a
fixed rotation and with chance by ``python -m benchmarks.learner``, on simulated players.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

IN_TUNE_POINTS = 85.0
"""Points from which a criterion counts as met, 0 to 100.

On each curve of :mod:`trainer.marking.criteria`, a note with these points is just in tune, steady,
clean or in time by common practice. For the pitch that is the drill's tolerance, for a leak 24 dB
below the wanted hole.
"""


FOCUS_DAYS = 7
"""Days of a focus, today included. Chosen by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewParameters:
    """When a drill comes back; see :mod:`trainer.coach.due`."""

    max_interval_days: int = 60
    """Longest time in days between two reviews. A skill that rests for longer gets stiff (common
    practice)."""
    min_tempo_ratio: float = 0.95
    """Ratio of a take's tempo to the drill's below which the take is rated as slow. Chosen by
    hand."""
    hard_below: float = 0.1
    """Fraction of the room between pass mark and 100 below which a take is rated Hard. Chosen by
    hand."""
    easy_above: float = 0.75
    """Fraction of the same room above which a take is rated Easy. Chosen by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateauParameters:
    """When a drill is stuck; see :mod:`trainer.coach.plateau`. All chosen by hand."""

    min_days: int = 8
    """Fewest days of playing without an upward change."""
    min_span_days: int = 28
    """Fewest days from the first of them to the last."""
    change_z: float = 2.8
    """Size of an upward change in standard errors that ends a plateau. The largest of some twenty
    places in a series without a change exceeds it in about 1 of 20 (``tests/coach/
    test_plateau.py``)."""
    min_noise_points: float = 2.0
    """Least standard deviation from day to day in points."""
    slow_ratio: float = 0.8
    """Tempo of a drill on a plateau, relative to the drill's."""
    fewer_bars: float = 0.25
    """Fraction of a drill's bars that are practised alone: those with the lowest marks."""
    max_bars: int = 4
    """Most bars that are practised alone."""
    bars_from_takes: int = 6
    """Last whole takes from whose marks these bars are found."""
    wide_ratio: float = 1.5
    """Tolerance of a drill on a plateau, relative to the one that the player has reached."""
    max_tolerance: float = 50.0
    """Widest tolerance in cents; beyond it, the next half step is nearer."""
    step: float = 0.5
    """Fraction of the way back to the drill as written after a passing take."""
    tried_days: int = 3
    """Days of play without a passing take after which the next way is tried, or the drill rests."""
    rest_days: int = 14
    """Days of rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementParameters:
    """How a placement finds a level; see :mod:`trainer.coach.placement`. All chosen by hand."""

    budget_s: float = 300.0
    """Time of playing in seconds after which nothing more is asked."""
    lapse: float = 0.06
    """Chance that a drill fails by accident, or passes by luck, whatever the level."""
    scale: float = 0.5
    """Distance in levels over which the chance of a pass rises from 1/2 to 3/4, divided by ln 3."""
    enough: float = 0.97
    """Probability that the level is right to within one, from which a track is not asked more."""
    link_levels: float = 2.0
    """Distance in levels from the playing without bends over which the expectation of another
    track's level falls to 1 / e."""
    overblows_from: int = 7
    """Level of bends from which overblows are asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DurationParameters:
    """How long practice is expected to take. All chosen by hand."""

    read_s: float = 12.0
    """Time in seconds to open a drill and look it over."""
    read_new_s: float = 30.0
    """Time in seconds to open and look over a drill that was never played."""
    between_takes_s: float = 4.0
    """Pause in seconds between two takes of a drill."""
    closing_s: float = 1.0
    """Time in seconds from the end of the last step to the result."""
    find_step_s: float = 2.0
    """Where the clock is free: time in seconds to find a step before it is held."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TraitParameters:
    """What a drill trains; see :mod:`trainer.coach.traits`. All chosen by hand."""

    long_note_s: float = 1.5
    """Shortest note in seconds that tests steadiness."""
    short_note_s: float = 0.4
    """Longest note in seconds that tests timing even on the beat."""
    further_skill_weight: float = 0.5
    """Weight of each skill after a drill's main one, whose weight is 1."""
    warm_up_note_s: float = 0.75
    """Minimum mean length in seconds of the notes of a drill that suits cold lips."""
    warm_up_holes: int = 2
    """Greatest move in holes within a drill that suits cold lips."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeaknessParameters:
    """What counts as weak; see :mod:`trainer.coach.weaknesses`. All chosen by hand."""

    half_life_days: float = 14.0
    """Time in days after which a try counts half."""
    window_days: int = 56
    """Age in days beyond which a try does not count."""
    intraclass_correlation: float = 0.3
    """Assumed correlation of tries within one take, 0 to 1: n tries count as
    n / (1 + (n - 1) r)."""
    min_probability: float = 0.9
    """Posterior probability, 0 to 1, that a weak trait's success rate is below the usual one."""
    min_gap: float = 0.05
    """Minimum gap between the usual success rate and a weak trait's, 0 to 1."""
    max_rate: float = 0.9
    """Success rate above which nothing is weak, 0 to 1."""
    max_habit_rate: float = 2.0 / 3.0
    """The same for habits: a fault on fewer notes is that of single notes, not a habit."""
    default_prior_tries: float = 10.0
    """Weight of the prior in tries, where too few traits were tried to estimate it."""
    min_prior_tries: float = 4.0
    """Least weight of the prior in tries."""
    max_prior_tries: float = 20.0
    """Greatest weight of the prior in tries, however alike most traits are: a bend may differ from
    all natural notes."""
    min_traits: int = 3
    """Fewest traits of a kind from which the weight of the prior is estimated."""
    min_heard: float = 0.5
    """Minimum fraction of a take's steps that must be heard for the take to count."""
    min_direction: float = 2.0 / 3.0
    """Minimum fraction of misses of one kind (sharp, flat, silent) for a sentence to name it."""
    last_notes: int = 12
    """Tries of an entry that a sentence covers; more where a day has more."""
    last_criterion_notes: int = 60
    """Tries of a criterion that a sentence covers."""
    last_takes: int = 6
    """Takes of a skill that a sentence covers."""
    last_days: int = 4
    """Days of playing that the sentence of a habit covers."""
    min_habit_days: int = 2
    """Fewest of these days with a habit for a sentence to count days; else it counts notes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SelectionParameters:
    """How the daily set is chosen; see :mod:`trainer.coach.selection`. All chosen by hand.

    Budget fractions are of the set's whole time, 0 to 1.
    """

    min_drills: int = 4
    """Most drills in the shortest set. A lesson has a few points (common practice)."""
    minutes_per_drill: float = 2.5
    """Minutes of a set for each further drill: 12 drills in 20 minutes."""
    new_per_day: int = 3
    """Most new drills in a day."""
    level_done: float = 2.0 / 3.0
    """Fraction of a level's drills that must have been passed for the next level to open."""
    new_budget: float = 0.3
    """Budget fraction for new drills while reviews are due."""
    warm_up_budget: float = 0.15
    """Budget fraction for the warm-up."""
    warm_up_drills: int = 2
    """Most drills in the warm-up."""
    warm_up_max_level: int = 3
    """Highest level of a warm-up drill."""
    weak_budget: float = 0.3
    """Budget fraction for weak traits; exceeded by no more than one drill."""
    weak_drills: int = 2
    """Most drills for weak traits."""
    focus_budget: float = 0.4
    """Budget fraction for the player's focus; exceeded by no more than one drill."""
    focus_drills: int = 3
    """Most drills for it."""
    check_drills: int = 3
    """Most drills in a day that check a placement."""
    easy_drills: int = 2
    """Most drills that are not due and went very well last time."""
    min_filled: float = 0.6
    """Fraction of the minutes up to which such drills fill a set with little else to play."""
    failed_days: int = 2
    """Days without a pass of a drill after which a placement in its skill ends below it."""
    min_trained: float = 0.1
    """Fraction of a drill's steps from which the drill trains a trait."""
    enjoyed_drills: int = 3
    """Most drills to enjoy."""
    rested_days: int = 5
    """Fewest days since a drill to enjoy was last played."""
    enjoyed_above: float = 0.5
    """Fraction of the room between pass mark and 100 that the best take of a drill to enjoy has
    reached."""
    fresh_days: int = 3
    """Days of rest after which a drill is worth its full weight for a weak trait."""
    short_set_min: float = 8.0
    """Length in minutes below which a set holds nothing but a warm-up, reviews and new drills until
    those are in."""
    hard_strain: float = 0.3
    """Fraction of a drill's steps that are hard on the lips, from which the drill counts as
    hard."""
    max_passes: int = 6
    """Most passing takes asked of one drill."""
    passes: int = 1
    """Passing takes asked of a drill."""
    learning_passes: int = 2
    """Passing takes asked of a new drill, or one for a weak trait."""
    new_pass_chance: float = 0.4
    """Expected chance that a take of a new drill passes, 0 to 1, of an unknown player."""
    new_prior_drills: float = 5.0
    """Weight of that in drills, against how the player's drills began."""
    failed_pass_chance: float = 0.5
    """Expected chance that a take passes where the last day's best did not."""
    min_pass_chance: float = 0.5
    """Least expected chance where the last day's best passed; above it, the recall counts."""
    max_pass_chance: float = 0.95
    """Greatest expected chance in that case."""
    recent_harp_days: int = 90
    """Days since a harp was last played for it to be taken as available."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendParameters:
    """What progress is measured on; see :mod:`trainer.coach.trends`. All chosen by hand."""

    usual_days: int = 10
    """Days of playing that make up a subject's usual figures."""
    min_notes_compared: int = 3
    """Fewest notes in a day for the day to enter a comparison."""
    min_notes_ranked: int = 10
    """Fewest notes for a subject to be ranked by its figures, and for a day to be the best one."""
    min_notes_spread: int = 5
    """Fewest notes that have a spread."""
    recent_days: int = 28
    """Days of the shorter trend."""
    min_trend_days: int = 4
    """Fewest days of playing that have a trend."""
    max_day_effects: int = 130
    """Days of playing beyond which weeks take the place of days, for speed."""
    tempo_ratio: float = 1.25
    """Ratio of two tempos from which a note of a drill counts as another item."""
    limit_spreads: float = 6.0
    """Limit of a note's figure above the median of its entry, in median absolute deviations: 4
    standard deviations of a normal distribution."""
    scale_prior_notes: float = 10.0
    """Weight in notes of the scale of all entries in that of one."""
    matters: Mapping[str, float] = field(
        default_factory=lambda: {"cents": 3.0, "ms": 10.0, "%": 0.05, "points": 3.0}
    )
    """Smallest change that matters, by unit of the metric: below it, a trend is steady."""


REVIEW = ReviewParameters()
PLATEAU = PlateauParameters()
PLACEMENT = PlacementParameters()
DURATION = DurationParameters()
TRAITS = TraitParameters()
WEAKNESS = WeaknessParameters()
SELECTION = SelectionParameters()
TREND = TrendParameters()
