"""Shapes of progress and of the daily set."""

from __future__ import annotations

from typing_extensions import TypedDict


class StepSummaryData(TypedDict):
    """Statistics of a number of steps. What was not measured is null."""

    notes: int
    """Number of steps."""
    takes: int
    """Number of takes."""
    cents: float | None
    """Median absolute offset from the target in cents."""
    bias_cents: float | None
    """Median offset in cents; positive is sharp."""
    spread_cents: float | None
    """Median absolute deviation of each tab entry from its own median in cents."""
    wobble_cents: float | None
    """Median standard deviation of the held pitch in cents."""
    in_tune: float | None
    """Fraction within the tolerance, 0 to 1."""
    clean: float | None
    """Fraction without an audible leak, of those that should be clean, 0 to 1."""
    leak_db: float | None
    """Median leak in dB, of the steps that leak."""
    off_ms: float | None
    """Median absolute distance from the beat in milliseconds."""
    late_ms: float | None
    """Median onset relative to the beat in milliseconds; positive is late."""
    late_spread_ms: float | None
    """Median absolute deviation from that in milliseconds."""
    score: float | None
    """Mean score, 0 to 100."""
    parts: dict[str, float]
    """Mean score of each judged criterion, 0 to 100."""


class PeriodData(StepSummaryData):
    """Statistics of a day or a week."""

    first: str
    """The day, or the Monday of the week, ISO 8601."""


class BestDayData(TypedDict):
    """The best day by one metric."""

    day: str
    """The day, ISO 8601."""
    value: float
    """Value of the metric, in its unit."""
    notes: int
    """Number of notes."""


class ComparisonData(TypedDict):
    """The last weeks compared with as many before."""

    verdict: str
    """Whether it is better, worse, or unclear, in words."""
    gain: float | None
    """Improvement in the unit of the metric; positive is better."""
    low: float | None
    """Lower end of its confidence interval."""
    high: float | None
    """Upper end of its confidence interval."""
    before: int
    """Number of days before."""
    after: int
    """Number of recent days."""


class TrendData(TypedDict):
    """Change over a window of days, each note of a drill compared with itself, partially pooled."""

    verdict: str
    """``better``, ``worse``, ``steady``, ``unclear`` or ``too few days``."""
    gain: float | None
    """Improvement in the unit of the metric; positive is better."""
    low: float | None
    """Lower end of its interval."""
    high: float | None
    """Upper end of its interval."""
    first: str | None
    """First day in the window on which the subject was played, ISO 8601."""
    last: str | None
    """Last such day, ISO 8601."""
    days: int
    """Number of such days."""
    start: float | None
    """The fitted metric on the first day, for what is played now."""
    end: float | None
    """The fitted metric on the last day."""


class TrendPointData(TypedDict):
    """A day of a trend."""

    day: str
    """The day, ISO 8601."""
    value: float
    """The metric, adjusted to what is played now."""
    notes: int
    """Number of notes."""


class SubjectData(TypedDict):
    """Progress on one tab entry, skill, or everything."""

    name: str
    """Tab entry, skill, ``chords``, ``ladders`` or ``everything``."""
    kind: str
    """Kind of the subject."""
    notes: int
    """Number of notes."""
    usual: StepSummaryData
    """Statistics of the last days on which it was played."""
    best: dict[str, BestDayData | None]
    """Best day by each metric; null if no day has enough notes."""
    change: dict[str, ComparisonData]
    """Change of each metric."""
    trend: dict[str, dict[str, TrendData]]
    """Trend of each metric over ``four_weeks`` and since the ``start``."""


class PracticeTimeData(TypedDict):
    """Practice in a number of days."""

    days: int
    """Number of days with practice."""
    takes: int
    """Number of takes."""
    minutes: float
    """Total duration in minutes."""


class PracticeSummaryData(TypedDict):
    """How much was practised."""

    first: str | None
    """First day, ISO 8601; null without takes."""
    last: str | None
    """Last day, ISO 8601; null without takes."""
    days_in_a_row: int
    """Number of consecutive days up to today or yesterday."""
    total: PracticeTimeData
    """All practice."""
    recent: PracticeTimeData
    """The last weeks."""
    before: PracticeTimeData
    """As many weeks before."""


class SoloTrendData(TypedDict):
    """Progress on one criterion of solos."""

    usual: float
    """Mean points of the last days on which it was judged, 0 to 100."""
    change: ComparisonData
    """The last weeks compared with as many before, in points."""


class SoloProgressData(TypedDict):
    """Progress in passages that are left to the player."""

    count: int
    """Number of solos."""
    criteria: dict[str, SoloTrendData]
    """Progress by criterion."""
    weakest: str
    """Criterion that most often had the fewest points in the recent solos."""
    weakest_count: int
    """Number of the recent solos in which it had."""
    recent: int
    """Number of the recent solos."""


class OverviewData(TypedDict):
    """Progress of a player on everything."""

    player: str
    """Name of the player."""
    today: str
    """Last of the compared days, ISO 8601."""
    weeks_compared: int
    """Number of weeks that are compared with as many before."""
    interval_level: float
    """Level of the confidence intervals, 0 to 1."""
    least_notes_of_a_day_compared: int
    """Minimum number of notes of a day that is compared."""
    practice: PracticeSummaryData
    """How much was practised."""
    subjects: list[SubjectData]
    """The subjects, each kind with the worst first."""
    solos: SoloProgressData | None
    """Progress in passages that are left to the player; null if none was played."""


class ProgressData(SubjectData):
    """Progress of a player on one subject, with its days and weeks."""

    player: str
    """Name of the player."""
    today: str
    """Last of the compared days, ISO 8601."""
    weeks_compared: int
    """Number of weeks that are compared with as many before."""
    interval_level: float
    """Level of the confidence intervals, 0 to 1."""
    trend_points: dict[str, list[TrendPointData]]
    """Days of each metric's trend since the start, in order."""
    days: list[PeriodData]
    """Its days, in order."""
    weeks: list[PeriodData]
    """Its weeks, in order."""


class ProgressRow(TypedDict):
    """A week or a day of a subject as a row of CSV. What is unknown is empty."""

    player: str
    """Name of the player."""
    kind: str
    """Kind of the subject."""
    name: str
    """Name of the subject."""
    week: str
    """Monday of the week, ISO 8601; the column is called ``day`` for a single subject."""
    notes: int
    """Number of notes."""
    takes: int
    """Number of takes."""
    cents: float | None
    """Median absolute offset from the target in cents."""
    bias_cents: float | None
    """Median offset in cents; positive is sharp."""
    spread_cents: float | None
    """Median absolute deviation of each tab entry from its own median in cents."""
    wobble_cents: float | None
    """Median standard deviation of the held pitch in cents."""
    in_tune: float | None
    """Fraction within the tolerance, 0 to 1."""
    clean: float | None
    """Fraction without an audible leak, 0 to 1."""
    leak_db: float | None
    """Median leak in dB, of the steps that leak."""
    off_ms: float | None
    """Median absolute distance from the beat in milliseconds."""
    late_ms: float | None
    """Median onset relative to the beat in milliseconds; positive is late."""
    late_spread_ms: float | None
    """Median absolute deviation from that in milliseconds."""
    score: float | None
    """Mean score, 0 to 100."""
    pitch_points: float | None
    """Mean score for pitch, 0 to 100."""
    steadiness_points: float | None
    """Mean score for steadiness, 0 to 100."""
    attack_points: float | None
    """Mean score for the attack, 0 to 100."""
    motion_points: float | None
    """Mean score for the motion between notes, 0 to 100."""
    cleanness_points: float | None
    """Mean score for cleanness, 0 to 100."""
    time_points: float | None
    """Mean score for timing, 0 to 100."""
    articulation_points: float | None
    """Mean score for articulation, 0 to 100."""
    dynamics_points: float | None
    """Mean score for dynamics, 0 to 100."""


class SetEntryData(TypedDict):
    """A drill of the daily set."""

    drill: str
    """Name of the drill."""
    title: str
    """Its title."""
    reason: str
    """``warm-up``, ``due``, ``weak``, ``new``, ``enjoy`` or ``keep``."""
    why: str
    """That in words, with figures."""
    harp: str
    """Key of the harp to play it on."""
    tuning: str
    """Name of its tuning."""
    passes: int
    """Number of passed takes after which it is done."""
    most_takes: int
    """Number of takes after which it is done in any case."""
    seconds: float
    """Expected duration in seconds."""
    pass_mark: float
    """Score from which it is passed."""
    last: float | None
    """Best score of the last day on which it was played; null if it never was."""
    tempo: float | None
    """Tempo to play it at in beats per minute; null for the drill's."""
    bars: tuple[int, int] | None
    """First and last bar to play; null for all."""
    tolerance: float | None
    """Tolerance to mark it with in cents; null for the one that the player has reached."""
    scores: list[float]
    """Scores of today's takes, in order."""
    best: float | None
    """Best of them; null if there are none."""
    moved: float | None
    """Best of them less `last`; null if either is missing."""
    done: bool
    """Whether it is done for today."""


class DailySetData(TypedDict):
    """The daily set of a player."""

    player: str
    """Name of the player."""
    day: str
    """The day, ISO 8601."""
    minutes: float
    """Length that was asked for in minutes."""
    seconds: float
    """Expected duration in seconds."""
    score: float | None
    """Mean of the entries' best scores; null if nothing was played."""
    moved: float | None
    """Mean change since the last time; null if there is none."""
    saved: bool
    """Whether the set was stored in the journal."""
    entries: list[SetEntryData]
    """The entries, in order."""
