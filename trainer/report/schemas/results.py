"""Shapes of marks, results and reports on one recording."""

from __future__ import annotations

from typing_extensions import TypedDict


class WantedVibratoData(TypedDict):
    """A vibrato that a step asks for."""

    hz: float
    """Rate in hertz."""
    cents: float
    """Of throat vibrato, half its peak-to-peak depth in cents: an open reed dips by all of it."""
    kind: str
    """``throat``, or ``hand`` if the loudness moves."""
    db: float
    """Of hand vibrato, peak-to-peak depth in dB."""


class WantedShakeData(TypedDict):
    """A shake that a step asks for."""

    other: list[str]
    """The tab entries of the other sound; the step's own comes first."""
    hz: float
    """Rate in full cycles per second."""


class WantedInflectionData(TypedDict):
    """A bend into a note or off its end that a step asks for."""

    beats: float
    """Duration in beats."""
    cents: float
    """Depth below the note in cents."""


class TargetData(TypedDict):
    """What a step asks for."""

    tab: str
    """Tab of the step."""
    sounds: list[list[str]]
    """The tab entries of each sound, in order; a chord has several entries in one sound."""
    cents_off: list[float]
    """Offset of each sound's target from its note in cents."""
    either: str | None
    """Another tab entry that counts as right."""
    kind: str
    """``note``, ``chord``, ``glide`` or ``ladder``."""
    care: str
    """Cleanness rule: ``plain``, ``clean``, ``blur``, ``chord`` or ``around``."""
    vibrato: WantedVibratoData | None
    """Vibrato that is asked for."""
    wah_hz: float
    """Rate of the wah that is asked for in hertz; 0 for none."""
    shake: WantedShakeData | None
    """Shake that is asked for."""
    scoop: WantedInflectionData | None
    """Scoop or dip into the note."""
    fall: WantedInflectionData | None
    """Fall off its end."""
    grace: list[str]
    """The tab entries of its grace note; empty for none."""
    articulation: str
    """``plain``, ``tongued``, ``legato`` or ``staccato``."""
    accent: bool
    """Whether it is louder than the notes around it."""
    swell_db: float
    """Change of loudness over the note in dB; negative fades, 0 for none."""
    slap: bool
    """Whether the chord below sounds with its attack."""
    optional: bool
    """Whether it may be left out without loss."""
    bar: int
    """Number of the bar; 0 is the pick-up."""
    at_beats: float
    """Start in beats from the first full bar; negative in a pick-up."""
    length_beats: float
    """Length in beats."""
    tolerance_cents: float
    """Tolerance of the pitch to each side in cents."""


class TermData(TypedDict):
    """A measured figure and the score that it earns by linear interpolation."""

    figure: str
    """Name of the figure in `measured`."""
    value: float | str | None
    """Measured value; null if there is none."""
    at: float | None
    """Position on the line of `points`; null if the score does not come from a line."""
    points: tuple[tuple[float, float], ...]
    """Position and score of each point of the line, which is level beyond its ends."""
    earned: float
    """Score, 0 to 100."""


class CriterionData(TypedDict):
    """How a criterion was scored."""

    earned: float
    """Score, 0 to 100."""
    weight: float
    """Weight of the criterion in the step's score."""
    rule: str
    """How the terms combine: ``worst``, ``best``, ``rungs`` or ``wrong note``."""
    terms: list[TermData]
    """The figures behind the score."""


class FormulaData(TypedDict):
    """How the criteria make a step's score: min(mean, most) · right · sounding · held."""

    parts: dict[str, CriterionData]
    """Each judged criterion by name."""
    mean: float
    """Weighted mean of the criteria, 0 to 100."""
    most: float
    """Upper limit set by the worst criterion, and by cleanness where it is required."""
    right: float
    """1; less where the pitch is far off, 0 for a wrong note."""
    sounding: float
    """Fraction of the wanted holes that sounded."""
    held: float
    """1; less where the note was cut short."""


class MeasuredData(TypedDict):
    """What was measured in a step. A figure that could not be measured is null."""

    start: int | None
    """First sample of the step."""
    end: int | None
    """First sample after the step."""
    late_ms: float | None
    """Onset relative to the beat in milliseconds; negative is early."""
    common_late_ms: float
    """Lateness that nearly all notes of the pass share and that the time is judged against."""
    common_late_points: float
    """Points of that lateness, 0 to 100; an aim at time earns no more."""
    cents: float | None
    """Mean offset of the held part from the target in cents; positive is sharp."""
    wobble_cents: float | None
    """Standard deviation of the held part about its slope in cents."""
    drift_cents: float | None
    """Change of pitch over the held part, by its slope, in cents."""
    scoop_cents: float | None
    """Offset of the onset from the target in cents; of a glide, mean of its first quarter."""
    settle_ms: float | None
    """Time from the onset until the pitch stays within tolerance, in milliseconds."""
    is_slurred: bool
    """Whether it started without an attack, out of the note before it."""
    held_on: str | None
    """Tab of the sound before, where its pitch went on without an attack; null elsewhere."""
    leak_db: float | None
    """Level of the loudest unwanted hole in dB relative to the wanted one."""
    leak_hole: int | None
    """Number of that hole."""
    holes: list[int]
    """Holes that sounded for most of the held part."""
    hidden: list[int]
    """Wanted holes that cannot be separated from a hole an octave below; they are not judged."""
    heard: str | None
    """Tab of the held note; differs from the target if a wrong note was played."""
    rungs: list[float | None]
    """Of a ladder, offset of each rung in cents; null for a rung that was not heard."""
    stray_cents: float | None
    """Of a glide on one hole, largest deviation from its path in cents."""
    back_cents: float | None
    """Of a glide or ladder on one hole, total movement against its direction in cents."""
    unheard: list[str]
    """Of a slide, sounds on its path that were not heard."""
    vibrato_hz: float | None
    """Rate of the vibrato in hertz."""
    vibrato_cents: float | None
    """Half of the extent of the vibrato in cents: to each side of a bent note, and half of how far
    it dips on a natural one."""
    shake_hz: float | None
    """Of a shake, full cycles per second; null where the two sounds did not alternate."""
    shake_fraction: float | None
    """Of a shake, fraction of the time on its first sound."""
    shake_spread: float | None
    """Of a shake, standard deviation of the lengths of its cycles relative to their median."""
    shake_db: float | None
    """Of a shake, level of its other sound in dB relative to its first."""
    dip_cents: float | None
    """Of a scoop or dip, how far below the note it started, in cents."""
    dip_ms: float | None
    """Of a scoop or dip, how long it rose, in milliseconds."""
    fall_cents: float | None
    """Of a fall, how far below the note it ended, in cents."""
    fall_ms: float | None
    """Of a fall, how long it fell, in milliseconds."""
    grace_ms: float | None
    """Length of the grace note in milliseconds; null where none was heard."""
    vibrato_db: float | None
    """Depth of a hand vibrato, peak to peak, in dB."""
    wah_hz: float | None
    """Rate of the wah in hertz."""
    wah_db: float | None
    """Depth of the wah, peak to peak, in dB."""
    level_db: float | None
    """Level in dB re full scale; only differences within a take mean something."""
    accent_db: float | None
    """Of an accented note, level in dB relative to the notes around it."""
    swell_db: float | None
    """Of a swell or fade, change of level in dB."""
    held_fraction: float | None
    """Fraction of the written length for which it sounded."""
    separation_db: float | None
    """Of a tongued note, fall of the level before it in dB; 20 for silence."""
    gap_ms: float | None
    """Of a legato note, time until the next note of the same breath in milliseconds."""
    slap: bool | None
    """Of a slapped note, whether the chord sounded with its attack; null where it is not known."""
    tries: int | None
    """With a free clock, number of notes begun until the step was held."""


class StepData(TypedDict):
    """The mark of a step."""

    index: int
    """Number of the step in the drill, from 0."""
    target: TargetData
    """What the step asks for."""
    score: float
    """Score, 0 to 100."""
    parts: dict[str, float]
    """Score of each judged criterion, 0 to 100."""
    formula: FormulaData
    """How the score was reached."""
    measured: MeasuredData
    """What was measured."""
    sentence: str
    """Why it was marked so, in words."""


class SoloTargetData(TypedDict):
    """What a solo asks for."""

    scale: str
    """Name of the scale."""
    position: int
    """Position, which gives the scale its key."""
    phrase_bars: float
    """Longest phrase with its rest in bars."""
    rest_beats: float
    """Shortest rest between phrases in beats."""
    range_half_steps: int
    """Least range in half steps."""
    division: int
    """Parts of a beat on which notes may begin."""
    bends_off: int
    """Number of bends that may be out of tune."""


class SoloMeasuredData(TypedDict):
    """What was measured in a solo; null where it could not be."""

    notes: int
    """Number of notes, without ornaments."""
    wanted_notes: int
    """Number from which enough was played."""
    off_scale: float | None
    """Fraction of the notes outside the scale."""
    foreign: str
    """Tab of the note outside the scale that was played most; empty for none."""
    strong_beats: int
    """Number of strong beats on which a note sounds."""
    chord_notes: float | None
    """Fraction of these on which it is a note of the chord."""
    cents: float | None
    """Mean distance of the notes from their pitch in cents."""
    bends_off: int
    """Number of bends beyond the tolerance."""
    late_ms: float | None
    """Mean distance of the onsets from the nearest part of a beat in milliseconds."""
    leaks: float | None
    """Fraction of the notes with an audible leak."""
    phrases: list[float]
    """Lengths of the phrases in beats, without the rests between them."""
    phrased: float | None
    """Mean fit of the phrases, weighted by their notes, 0 to 1."""
    range_half_steps: int | None
    """Distance of the highest from the lowest note in half steps."""
    effective_notes: float | None
    """Effective number of different notes."""
    repeated_phrases: float | None
    """Fraction of the phrases after the first that repeat an earlier one."""
    repeated_notes: float | None
    """Fraction of the notes that end a repetition."""
    in_runs: float | None
    """Fraction of the notes in runs along the scale."""


class SoloNoteData(TypedDict):
    """A note that was played in a solo."""

    tab: str
    """Its tab."""
    start: int
    """First sample."""
    end: int
    """First sample after it."""
    beat: float
    """Beat on which it began, without swing."""
    beats: float
    """Length in beats."""
    late_ms: float
    """Milliseconds after the nearest part of a beat; negative is early."""
    cents: float
    """Deviation from its pitch in cents."""
    leak_db: float | None
    """Level of the loudest unwanted hole in dB; null for none."""


class SoloData(TypedDict):
    """The mark of a passage that is left to the player."""

    bar: int
    """Bar in which it begins."""
    start: float
    """Beat on which it begins."""
    beats: float
    """Length in beats."""
    target: SoloTargetData
    """What it asks for."""
    score: float
    """Score, 0 to 100."""
    parts: dict[str, float]
    """Score of each judged criterion, 0 to 100."""
    measured: SoloMeasuredData
    """What was measured."""
    sentence: str
    """What to work on first, in words."""
    sentences: dict[str, str]
    """Why each criterion was marked so, in words."""
    notes: list[SoloNoteData]
    """What was played, in order."""


class ExtraNoteData(TypedDict):
    """A note that the drill does not ask for."""

    start: int
    """First sample."""
    end: int
    """First sample after it."""
    beats: float
    """Length in beats."""
    after: int | None
    """Number of the step before it, from 0; null before the first step."""
    heard: str
    """Its tab."""
    sentence: str
    """What it was, in words."""


class AimData(TypedDict):
    """One point of the drill and how well it was met."""

    criterion: str
    """Criterion that decides: a criterion of the marks, or ``holes`` of chords."""
    groups: list[str]
    """Groups of steps on which it counts."""
    steps: list[int]
    """Numbers of these steps, from 0."""
    score: float | None
    """Mean of their points, 0 to 100; null where none could be judged."""


class RemarkData(TypedDict):
    """A fact about a recording without a click that no single step's mark states."""

    kind: str
    """``tempo``, ``drift``, ``stop``, ``rest``, ``back``, ``repeat``, ``skip``, ``false start``,
    ``tries`` or ``tuning``."""
    sentence: str
    """What it is, in words."""
    start: int
    """First sample that it concerns."""
    end: int
    """First sample after it."""
    step: int | None
    """Number of the step at which it happened, from 0; null where it concerns the whole."""
    size: float | None
    """Beats per minute for a tempo or a drift, seconds for a stop or a rest, cents for a tuning,
    else a number of steps or tries."""


class TempoPointData(TypedDict):
    """A beat of the player."""

    beat: int
    """Number of the beat; 0 is the first of the first full bar."""
    sample: int
    """Sample on which it falls."""
    tempo: float
    """Tempo from there on in beats per minute."""


class TryData(TypedDict):
    """A try at the drill, whole or broken off."""

    start: int
    """First sample of its first note."""
    end: int
    """First sample after its last note."""
    first: int
    """Number of the first step that was played, from 0."""
    last: int
    """Number of the last step that was played, from 0."""
    steps: int
    """Number of different steps that were played."""
    is_pass: bool
    """Whether enough was played for it to be marked as a pass."""


class HabitData(TypedDict):
    """A fault that many notes share."""

    name: str
    """What it is, such as ``bends shallow``."""
    part: str
    """Its criterion."""
    steps: list[int]
    """The steps that show it."""
    of: int
    """Number of steps that could have shown it."""
    size: float
    """Median size in the unit of its figure; 0 if it has none."""


class ResultData(TypedDict):
    """The result of a pass."""

    drill: str
    """Name of the drill."""
    title: str
    """Title of the drill."""
    harp: str
    """Name of the harp."""
    tempo: float
    """Tempo in beats per minute: without a click, the mean of the player's own."""
    asked_tempo: float
    """Tempo that was asked for, in beats per minute."""
    has_click: bool
    """Whether time is judged against a click, not against the player's own beat."""
    tempo_curve: list[TempoPointData]
    """The player's own beats; empty in time with a click."""
    remarks: list[RemarkData]
    """What else there is to know of it, the most important first; empty in time with a click."""
    tries: list[TryData]
    """All tries in the recording, in order; empty in time with a click."""
    pass_mark: float
    """Score from which the drill is passed."""
    tolerance_cents: float
    """Tolerance of the pitch to each side in cents."""
    weights: dict[str, float]
    """Weight of each criterion."""
    score: float
    """Score, 0 to 100, decided by the aims."""
    mean: float
    """Mean of the steps' scores by their lengths, 0 to 100."""
    aims: list[AimData]
    """What the drill is for; empty where nothing counts more than the rest."""
    passed: bool
    """Whether the score reached the pass mark and the pass was played to its end."""
    unplayed: int
    """Number of steps that were to come when the pass was stopped."""
    weakest: int | None
    """Number of the step with the lowest score, from 0; null for a drill without steps."""
    steps: list[StepData]
    """The marks, in order."""
    solos: list[SoloData]
    """The marks of the solos, in order."""
    extras: list[ExtraNoteData]
    """Extra notes, in order."""
    habits: list[HabitData]
    """Faults that many notes share, the one to work on first before the others."""


class BestPassData(ResultData):
    """The best pass of a recording."""

    passes: list[float]
    """Scores of all passes, in order."""


class TakeSummaryData(TypedDict):
    """One of two takes that are compared."""

    name: str
    """Name of the recording."""
    score: float
    """Score of its best pass, 0 to 100."""
    passed: bool
    """Whether that is passed."""
    tempo: float
    """Tempo in beats per minute."""
    median_cents: float | None
    """Median distance from the targets in cents."""
    spread_ms: float | None
    """Standard deviation of the lateness in milliseconds."""
    unplayed: int
    """Number of steps that were not due when it was stopped."""


class ComparedFigureData(TypedDict):
    """A figure in which two takes differ on a step."""

    figure: str
    """``cents``, ``late_ms``, ``scoop_cents``, ``wobble_cents`` or ``leak_db``, as in a result."""
    before: float | None
    """In the first take; null where it was not measured."""
    after: float | None
    """In the second take."""


class ComparedStepData(TypedDict):
    """A step of two takes."""

    index: int
    """Index of the step."""
    tab: str
    """Tab of the step."""
    before: float
    """Its score in the first take, 0 to 100."""
    after: float
    """Its score in the second take."""
    heard: list[str | None] | None
    """Tab that was heard in each take; null where the same was heard."""
    figures: list[ComparedFigureData]
    """The figures that differ."""


class ComparisonData(TypedDict):
    """Two takes of one drill, step by step."""

    drill: str
    """Name of the drill."""
    takes: list[TakeSummaryData]
    """The two takes, in the order in which they were named."""
    steps: list[ComparedStepData]
    """The steps that both have, in order."""


class UnmarkedRecordingData(TypedDict):
    """A recording that could not be marked."""

    recording: str
    """Path of the recording."""
    trouble: str | None
    """Why it could not be marked."""
    notes: list[str]
    """What else is to be known of it: damage, or targets that the file names."""


class MadeFromData(TypedDict):
    """All that decides the marks of a recording, each as SHA-256."""

    recording: str
    """Of the file."""
    drill: str
    """Of the drill as marked."""
    harp: str
    """Of the harp's targets."""
    options: str
    """Of the other options."""
    version: str
    """Version of the trainer, and of the code that decides marks."""


class MarkedRecordingData(BestPassData):
    """A recording and its best pass."""

    recording: str
    """Path of the recording."""
    trouble: str | None
    """Always null."""
    notes: list[str]
    """What else is to be known of it: damage, or targets that the file names."""


class LastTimeData(TypedDict):
    """What was reached with an earlier sound under the same path."""

    score: float
    """Score, 0 to 100."""
    passed: bool
    """Whether it reached the pass mark."""
    parts: dict[str, float]
    """Mean score of each criterion, by the lengths of the steps."""
    scores: dict[str, float]
    """Score of each step, by its index."""


class StoredRecordingData(MarkedRecordingData):
    """A marked recording in a file of its own."""

    made_from: MadeFromData
    """What it was made from; it is made again where that has changed."""
    last_time: LastTimeData | None
    """What was reached before; null if it is not known."""


RecordingData = MarkedRecordingData | UnmarkedRecordingData
"""A recording of a batch."""


class AdviceData(TypedDict):
    """A piece of advice."""

    what: str
    """What to work on: the note and the criterion."""
    why: str
    """Points lost, and how."""
    drill: str | None
    """Title of a drill that trains it; null if there is none."""


class StudentReportData(ResultData):
    """A student's report on the best pass of a recording."""

    recording: str
    """Name of the recording."""
    to_work_on: list[AdviceData]
    """Advice, the most urgent first."""


class StudentRow(TypedDict):
    """A step of a student's report as a row of CSV. What is unknown is empty."""

    step: int
    """Number of the step, from 1."""
    bar: int
    """Number of the bar; 0 is the pick-up."""
    tab: str
    """Tab of the step."""
    mark: float
    """Score, 0 to 100."""
    pitch: float | None
    """Score for pitch, 0 to 100."""
    steadiness: float | None
    """Score for steadiness, 0 to 100."""
    attack: float | None
    """Score for the attack, 0 to 100."""
    motion: float | None
    """Score for the motion between notes, 0 to 100."""
    cleanness: float | None
    """Score for cleanness, 0 to 100."""
    time: float | None
    """Score for timing, 0 to 100."""
    articulation: float | None
    """Score for articulation, 0 to 100."""
    dynamics: float | None
    """Score for dynamics, 0 to 100."""
    cents: float | None
    """Mean offset of the held part from the target in cents; positive is sharp."""
    wobble_cents: float | None
    """Standard deviation of the held part about its slope in cents."""
    settle_ms: float | None
    """Settling time in milliseconds."""
    late_ms: float | None
    """Onset relative to the beat in milliseconds; negative is early."""
    leak_hole: int | None
    """Number of the loudest unwanted hole."""
    leak_db: float | None
    """Its level in dB relative to the wanted one."""
    why: str
    """Why the step was marked so, in words."""
