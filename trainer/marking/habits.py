"""Habits: faults that many notes of a pass share.

A teacher hears forty notes and names one cause. A habit is a fault of one kind, in one direction,
on most of the notes that could show it: every bend too shallow, the off-beats early, the hole below
leaking. Habits are looked for in the figures, not in the points, so that one is named even where
its criterion weighs little in the drill.

A rule asks for a figure of some notes and for the bound beyond which it is a fault. A habit is
found where at least `min_notes` of those notes and `min_fraction` of them lie beyond the bound on
the same side. Where all notes are off alike, that is one habit (the harp's tuning, the latency) and
not one for each kind of note.

Most rules need only figures that the journal keeps (:class:`~trainer.marking.mark.Figures`), so
that :func:`note_habits` and :func:`common_criteria` work on old takes too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from trainer.drill import (
    DEFAULT_DIP,
    DEFAULT_SHAKE_HZ,
    Articulation,
    CleannessRule,
    Drill,
    Step,
    VibratoKind,
)
from trainer.harp import HOLES, Breath, Tab
from trainer.marking.criteria import has_plain_attack, is_left_out, is_wrong_note
from trainer.marking.mark import Figures, Mark, Measured, Result
from trainer.marking.parameters import HABITS, SENTENCE


@dataclass(frozen=True, slots=True)
class Habit:
    """A fault that many notes share.

    Attributes:
        name: what it is, such as ``bends shallow``; see `RULES` and :func:`find_habits`.
        marks: the marks that show it, in order.
        of: number of notes that could have shown it.
        size: median size of the fault in the unit of its figure, positive; 0 if it has none.
        cost: points of the pass's mean that the notes lost, on the criterion of the fault.
        criterion: the criterion.
    """

    name: str
    marks: tuple[Mark, ...]
    of: int
    size: float
    cost: float
    criterion: str

    @property
    def fraction(self) -> float:
        """Fraction of the notes that show it."""
        return len(self.marks) / self.of


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """A step of a pass, with what it earned.

    Attributes:
        step: the step.
        criteria: points of each criterion that could be judged; not empty.
        figures: the figures behind them.
        drill: the drill.
    """

    step: Step
    criteria: Mapping[str, float]
    figures: Figures
    drill: Drill

    @property
    def is_right(self) -> bool:
        """Whether no other note was heard."""
        return not is_wrong_note(self.step, self.figures)

    @property
    def wrong_kind(self) -> str:
        """Name of the habit by which another note was played; empty if it was the right one."""
        heard = self.figures.heard
        is_one_note = heard is not None and not {"+", ">", "="} & set(heard)
        if heard is None or not is_one_note or self.criteria.get("pitch", 0.0) > 0.0:
            return ""
        played, wanted = Tab.parse(heard), self.step.first[0]
        if (played.hole, played.breath) == (wanted.hole, wanted.breath):
            return "not bent" if wanted.bend and not played.bend else ""
        if played.breath is not wanted.breath:
            return "other breath" if played.hole == wanted.hole else ""
        return "a hole too low" if played.hole < wanted.hole else "a hole too high"


Selects = Callable[[Step], bool]
"""Whether a step can show a fault."""
Figure = Callable[[PlayedNote], float | None]
"""A signed figure of a note; None where it could not be measured."""


@dataclass(frozen=True, slots=True)
class _Rule:
    """How habits of one figure are found.

    Attributes:
        criterion: criterion of the fault.
        figure: the figure.
        selects: the steps that can show the fault.
        bound: bound beyond which it is a fault, given the drill.
        above, below: names of the habit where the figure lies above the bound, or below its
            negative; empty where that is no fault.
    """

    criterion: str
    figure: Figure
    selects: Selects
    bound: Callable[[Drill], float]
    above: str = ""
    below: str = ""

    def value(self, note: PlayedNote) -> float | None:
        """The figure of a note; None if it cannot show the fault."""
        return self.figure(note) if self.selects(note.step) else None

    def shown(self, note: PlayedNote, value: float) -> str:
        """Name of the habit that a note shows; empty for none."""
        bound = self.bound(note.drill)
        return self.above if value > bound else self.below if -value > bound else ""


@dataclass(frozen=True, slots=True)
class _Finding:
    """A habit before its marks are looked up; fields as in :class:`Habit`."""

    name: str
    criterion: str
    steps: Sequence[Step]
    of: int
    sizes: Iterable[float] = ()


# Steps


def _is_plain(step: Step) -> bool:
    """Whether it is one held note."""
    return not step.has_path and not step.is_chord


def _is_bend(step: Step) -> bool:
    return _is_plain(step) and bool(step.first[0].bend) and not step.first[0].over


def _is_natural(step: Step) -> bool:
    return _is_plain(step) and step.first[0].is_natural and not step.offset_cents(0)


def _is_overblow(step: Step) -> bool:
    return _is_plain(step) and step.first[0].over


def _is_blue(step: Step) -> bool:
    return _is_plain(step) and any(step.offsets_cents)


def _is_glide(step: Step) -> bool:
    return step.is_glide


def _is_off_beat(step: Step) -> bool:
    return step.start.denominator != 1


def _is_on_beat(step: Step) -> bool:
    return not _is_off_beat(step)


def _is_halfway(step: Step) -> bool:
    return step.start.denominator == 2


def _has_vibrato(step: Step) -> bool:
    return step.vibrato is not None and step.vibrato.kind is VibratoKind.THROAT


def _has_shake(step: Step) -> bool:
    return step.shake is not None


def _has_scoop(step: Step) -> bool:
    """Whether it asks for a scoop that is no dip."""
    return step.scoop is not None and step.scoop.beats > DEFAULT_DIP.beats


def _has_dip(step: Step) -> bool:
    return step.scoop is not None and step.scoop.beats <= DEFAULT_DIP.beats


def _has_fall(step: Step) -> bool:
    return step.fall is not None


def _has_grace_note(step: Step) -> bool:
    return bool(step.grace)


def _has_hand_vibrato(step: Step) -> bool:
    return step.vibrato is not None and step.vibrato.kind is VibratoKind.HAND


def _has_wah(step: Step) -> bool:
    return step.wah_hz > 0.0


def _has_accent(step: Step) -> bool:
    return step.accent


def _has_swell(step: Step) -> bool:
    return step.swell_db != 0.0


def _has_slap(step: Step) -> bool:
    return step.slap


def _has_articulation(*articulations: Articulation) -> Selects:
    return lambda step: step.articulation in articulations


def _must_be_clean(step: Step) -> bool:
    rules = CleannessRule.PLAIN, CleannessRule.CLEAN
    return _is_plain(step) and step.cleanness_rule in rules


def _is_natural_of(breath: Breath, holes: Iterable[int] = HOLES) -> Selects:
    numbers = frozenset(holes)

    def selects(step: Step) -> bool:
        tab = step.first[0]
        return _is_natural(step) and tab.breath is breath and tab.hole in numbers

    return selects


# Figures and their bounds


def _figure(name: str) -> Figure:
    """The figure of that name in :class:`~trainer.marking.mark.Measured`; None in the journal."""
    return lambda note: getattr(note.figures, name, None)


def _vibrato_figure(name: str, wanted: str) -> Figure:
    """Ratio of a vibrato's figure to the wanted one, less 1."""

    def figure(note: PlayedNote) -> float | None:
        value = getattr(note.figures, name, None)
        return None if value is None else value / getattr(note.step.vibrato, wanted) - 1.0

    return figure


def _octaves(name: str, wanted: Callable[[PlayedNote], float]) -> Figure:
    """Octaves by which a figure is more than the wanted one; None where it is 0 or unknown."""

    def figure(note: PlayedNote) -> float | None:
        value = getattr(note.figures, name, None)
        return float(math.log2(value / wanted(note))) if value else None

    return figure


def _wah_rate(note: PlayedNote) -> float | None:
    """Ratio of a wah's rate to the wanted one, less 1."""
    hz = getattr(note.figures, "wah_hz", None)
    return None if hz is None else hz / note.step.wah_hz - 1.0


def _percent_held(note: PlayedNote) -> float | None:
    held = getattr(note.figures, "held_fraction", None)
    return None if held is None else 100.0 * held


def _percent_missing(note: PlayedNote) -> float | None:
    held = _percent_held(note)
    return None if held is None else 100.0 - held


def _shortfall(name: str, enough: float) -> Figure:
    """How much of a figure is missing to what is enough."""

    def figure(note: PlayedNote) -> float | None:
        value = getattr(note.figures, name, None)
        return None if value is None else enough - value

    return figure


def _inflection_octaves(part: str, name: str) -> Figure:
    """The same of the depth or the length of a step's scoop or fall.

    Args:
        part: the attribute of the step, ``scoop`` or ``fall``.
        name: name of the figure, in cents or milliseconds.
    """

    def wanted(note: PlayedNote) -> float:
        inflection = getattr(note.step, part)
        if name.endswith("cents"):
            return float(inflection.cents)
        return float(inflection.beats) * 1000.0 * note.drill.beat_s(note.step.start)

    return _octaves(name, wanted)


def _shake_rate(note: PlayedNote) -> float:
    return note.step.shake.hz if note.step.shake else DEFAULT_SHAKE_HZ


def _shake_lean(note: PlayedNote) -> float | None:
    """How much more than half of the time a shake is on its upper hole."""
    fraction, shake = getattr(note.figures, "shake_fraction", None), note.step.shake
    if fraction is None or shake is None:
        return None
    is_upper_first = note.step.first[0].hole > shake.other[0].hole
    return float(fraction - 0.5 if is_upper_first else 0.5 - fraction)


def _shake_level(note: PlayedNote) -> float | None:
    """How much louder the upper hole of a shake is than the lower, in dB."""
    db, shake = getattr(note.figures, "shake_db", None), note.step.shake
    if db is None or shake is None:
        return None
    return float(-db if note.step.first[0].hole > shake.other[0].hole else db)


def _swell_shortfall(note: PlayedNote) -> float | None:
    """Fraction of a swell or fade that is missing."""
    db = getattr(note.figures, "swell_db", None)
    return None if db is None else 1.0 - db / note.step.swell_db


def _slap_shortfall(note: PlayedNote) -> float | None:
    """1 where a slap is missing, 0 where it is not."""
    slap = getattr(note.figures, "slap", None)
    return None if slap is None else 1.0 - slap


def _scoop(note: PlayedNote) -> float | None:
    """How far above its held pitch a bend was attacked, in cents."""
    if not has_plain_attack(note.step):
        return None
    figures = note.figures
    is_slurred = isinstance(figures, Measured) and figures.is_slurred
    if is_slurred or figures.scoop_cents is None or figures.cents is None:
        return None
    return figures.scoop_cents - figures.cents


def _settling_ms(note: PlayedNote) -> float | None:
    return note.figures.settle_ms if has_plain_attack(note.step) else None


def _straightness(note: PlayedNote) -> float | None:
    """How much nearer to the straight place than allowed an off-beat is, relative to the swing."""
    swung_ms, late_ms = _swung_ms(note), note.figures.late_ms
    if not swung_ms or late_ms is None:
        return None
    return HABITS.swing_slack - abs(late_ms + swung_ms) / swung_ms


def _swung_ms(note: PlayedNote) -> float:
    """How much later than the middle of the beat the swing puts an off-beat, in milliseconds."""
    swing = note.drill.swing
    return 1000.0 * note.drill.beat_s(note.step.start) * (swing / (1.0 + swing) - 0.5)


def _leaks(note: PlayedNote) -> bool:
    leak_db = note.figures.leak_db
    return leak_db is not None and leak_db > HABITS.leak_db


def _leak_side(note: PlayedNote) -> float:
    """-1 where the hole below leaks, 1 where the one above does, 0 without a leak."""
    is_below = (note.figures.leak_hole or 0) < note.step.first[0].hole
    return (-1.0 if is_below else 1.0) if _leaks(note) else 0.0


def _tolerances(count: float) -> Callable[[Drill], float]:
    return lambda drill: count * drill.goal.tolerance


def _constant(bound: float) -> Callable[[Drill], float]:
    return lambda drill: bound


def _late_bound(drill: Drill) -> float:
    return max(HABITS.late_beats * 60_000.0 / drill.fastest_tempo, HABITS.late_ms)


def _stray_bound(drill: Drill) -> float:
    return max(2.5 * drill.goal.tolerance, HABITS.stray_cents)


_CENTS, _WOBBLE, _DRIFT, _LATE = (
    _figure(name) for name in ("cents", "wobble_cents", "drift_cents", "late_ms")
)
_DRAWS, _BLOWS = _is_natural_of(Breath.DRAW), _is_natural_of(Breath.BLOW)
_LOW_DRAWS = _is_natural_of(Breath.DRAW, (2, 3))
_TOL, _ZERO = _tolerances(1), _constant(0.0)
_RATE, _DEPTH, _LENGTH = (
    _constant(octaves)
    for octaves in (HABITS.shake_octaves, HABITS.depth_octaves, HABITS.length_octaves)
)

RULES = (
    _Rule("pitch", _CENTS, _is_bend, _TOL, "bends shallow", "bends deep"),
    _Rule("pitch", _CENTS, _is_overblow, _TOL, "overblows sharp", "overblows flat"),
    _Rule("pitch", _CENTS, _LOW_DRAWS, _TOL, "", "low draws sag"),
    _Rule("pitch", _CENTS, _DRAWS, _TOL, "", "draws flat"),
    _Rule("pitch", _CENTS, _BLOWS, _TOL, "", "blows flat"),
    _Rule("pitch", _CENTS, _is_blue, _TOL, "blue notes high", "blue notes low"),
    _Rule("attack", _scoop, _is_bend, _tolerances(2.5), "bends scooped"),
    _Rule("attack", _settling_ms, _is_plain, _constant(HABITS.settle_ms), "slow to settle"),
    _Rule("steadiness", _WOBBLE, _is_bend, _tolerances(0.5), "bends unsteady"),
    _Rule("steadiness", _WOBBLE, _is_natural, _tolerances(0.5), "notes unsteady"),
    _Rule("steadiness", _DRIFT, _is_bend, _TOL, "bends rise", "bends sink"),
    _Rule("steadiness", _DRIFT, _is_natural, _TOL, "notes rise", "notes sag"),
    _Rule("time", _LATE, _is_off_beat, _late_bound, "off-beats late", "off-beats early"),
    _Rule("time", _LATE, _is_on_beat, _late_bound, "beats late", "beats early"),
    _Rule(
        "motion",
        _vibrato_figure("vibrato_hz", "hz"),
        _has_vibrato,
        _constant(HABITS.vibrato_ratio),
        "vibrato fast",
        "vibrato slow",
    ),
    _Rule(
        "motion",
        _vibrato_figure("vibrato_cents", "cents"),
        _has_vibrato,
        _constant(HABITS.vibrato_depth_ratio),
        "vibrato wide",
        "vibrato shallow",
    ),
    _Rule(
        "motion", _octaves("shake_hz", _shake_rate), _has_shake, _RATE, "shakes fast", "shakes slow"
    ),
    _Rule(
        "motion",
        _shake_lean,
        _has_shake,
        _constant(HABITS.shake_lean),
        "shakes lean high",
        "shakes lean low",
    ),
    _Rule(
        "motion",
        _shake_level,
        _has_shake,
        _constant(HABITS.shake_db),
        "shakes weak below",
        "shakes weak above",
    ),
    _Rule(
        "motion",
        _figure("shake_spread"),
        _has_shake,
        _constant(HABITS.shake_spread),
        "shakes irregular",
    ),
    _Rule(
        "motion",
        _inflection_octaves("scoop", "dip_cents"),
        _has_dip,
        _DEPTH,
        "dips deep",
        "dips shallow",
    ),
    _Rule(
        "motion",
        _inflection_octaves("scoop", "dip_cents"),
        _has_scoop,
        _DEPTH,
        "scoops deep",
        "scoops shallow",
    ),
    _Rule(
        "motion",
        _inflection_octaves("fall", "fall_cents"),
        _has_fall,
        _DEPTH,
        "falls deep",
        "falls shallow",
    ),
    _Rule("motion", _inflection_octaves("scoop", "dip_ms"), _has_dip, _LENGTH, "dips slow"),
    _Rule(
        "motion",
        _inflection_octaves("scoop", "dip_ms"),
        _has_scoop,
        _LENGTH,
        "scoops slow",
        "scoops quick",
    ),
    _Rule(
        "motion",
        _inflection_octaves("fall", "fall_ms"),
        _has_fall,
        _LENGTH,
        "falls slow",
        "falls quick",
    ),
    _Rule(
        "motion",
        _figure("grace_ms"),
        _has_grace_note,
        _constant(HABITS.grace_ms),
        "grace notes long",
    ),
    _Rule(
        "motion",
        _vibrato_figure("vibrato_db", "db"),
        _has_hand_vibrato,
        _constant(HABITS.vibrato_depth_ratio),
        "hand vibrato deep",
        "hand vibrato shallow",
    ),
    _Rule("motion", _wah_rate, _has_wah, _constant(HABITS.vibrato_ratio), "wahs fast", "wahs slow"),
    _Rule("motion", _shortfall("wah_db", HABITS.wah_db), _has_wah, _ZERO, "wahs shallow"),
    _Rule("motion", _figure("back_cents"), _is_glide, _tolerances(2.5), "glides turn back"),
    _Rule("motion", _figure("stray_cents"), _is_glide, _stray_bound, "glides jump", "glides lag"),
    _Rule(
        "articulation",
        _percent_missing,
        _has_articulation(Articulation.PLAIN, Articulation.TONGUED, Articulation.LEGATO),
        _constant(HABITS.missing_percent),
        "notes cut short",
    ),
    _Rule(
        "articulation",
        _percent_held,
        _has_articulation(Articulation.STACCATO),
        _constant(HABITS.staccato_percent),
        "staccato long",
    ),
    _Rule(
        "articulation",
        _shortfall("separation_db", HABITS.separation_db),
        _has_articulation(Articulation.TONGUED),
        _ZERO,
        "notes run on",
    ),
    _Rule(
        "articulation",
        _figure("gap_ms"),
        _has_articulation(Articulation.LEGATO),
        _constant(HABITS.gap_ms),
        "legato broken",
    ),
    _Rule("articulation", _slap_shortfall, _has_slap, _constant(0.5), "slaps missing"),
    _Rule(
        "dynamics", _shortfall("accent_db", HABITS.accent_db), _has_accent, _ZERO, "accents weak"
    ),
    _Rule("dynamics", _swell_shortfall, _has_swell, _constant(HABITS.swell_missing), "swells flat"),
)
"""Rules for the figures of single notes."""
_NOTE_RULES = (
    *RULES,
    _Rule("time", _straightness, _is_halfway, _constant(0.0), "swing straight"),
    _Rule("cleanness", _leak_side, _must_be_clean, _constant(0.5), "leaks above", "leaks below"),
)
"""Rules for one note without the rest of its pass."""
_WRONG_NOTES: Mapping[str, Selects] = {
    "not bent": _is_bend,
    "other breath": _is_plain,
    "a hole too low": _is_plain,
    "a hole too high": _is_plain,
}
"""Wrong notes by kind: the steps that can show them."""
_SPECIFIC = {
    "draws flat": frozenset({"low draws sag"}),
    "slow to settle": frozenset({"bends scooped"}),
    "off-beats early": frozenset({"swing straight"}),
    "bends shallow": frozenset({"not bent"}),
    "dips shallow": frozenset({"no dips"}),
    "dips slow": frozenset({"no dips"}),
    "scoops shallow": frozenset({"no scoops"}),
    "scoops slow": frozenset({"no scoops"}),
    "scoops quick": frozenset({"no scoops"}),
    "falls shallow": frozenset({"no falls"}),
    "falls slow": frozenset({"no falls"}),
    "falls quick": frozenset({"no falls"}),
}
"""More specific habits that explain a habit."""


def possible_habits(step: Step, drill: Drill) -> dict[str, str]:
    """Habits of single notes that a step can show, each with its criterion.

    Args:
        step: the step.
        drill: its drill.
    """
    names = {
        name: rule.criterion
        for rule in _NOTE_RULES
        if rule.selects(step) and (rule.figure is not _straightness or drill.swing > 1.0)
        for name in (rule.above, rule.below)
        if name
    }
    wrong = {name: "pitch" for name, selects in _WRONG_NOTES.items() if selects(step)}
    return names | wrong


def note_habits(note: PlayedNote) -> dict[str, bool]:
    """Habits that a note could show by its figures: whether it shows each.

    A habit that a more specific one explains is left out.
    """
    wrong = note.wrong_kind
    habits = {name: name == wrong for name, selects in _WRONG_NOTES.items() if selects(note.step)}
    if note.is_right:
        for rule in _NOTE_RULES:
            if (value := rule.value(note)) is not None:
                shown = rule.shown(note, value)
                habits |= {name: name == shown for name in (rule.above, rule.below) if name}
    explained = {
        name for name, specific in _SPECIFIC.items() if any(habits.get(s) for s in specific)
    }
    return {name: is_shown for name, is_shown in habits.items() if name not in explained}


def common_criteria(notes: Sequence[PlayedNote]) -> frozenset[str]:
    """Criteria on which all notes of a pass are off alike: by the harp's tuning, or the latency."""
    right = [note for note in notes if note.is_right]
    return frozenset(finding.criterion for finding in (*_all_off(right), *_all_late(notes)))


def tuning_habit(drill: Drill, marks: Sequence[Mark]) -> Habit | None:
    """The habit that most notes of a pass are off by the same cents: the harp's tuning."""
    notes = [PlayedNote(m.step, m.criteria, m.measured, drill) for m in marks if m.criteria]
    tuning = next(_all_off([note for note in notes if note.is_right]), None)
    return None if tuning is None else _habit(tuning, {mark.step.index: mark for mark in marks})


def time_habit(drill: Drill, marks: Sequence[Mark]) -> Habit | None:
    """The habit that most notes of a pass are late by the same time: the latency, the count-in."""
    notes = [PlayedNote(m.step, m.criteria, m.measured, drill) for m in marks if m.criteria]
    common = next((each for each in _all_late(notes) if each.name.startswith("all ")), None)
    return None if common is None else _habit(common, {mark.step.index: mark for mark in marks})


def find_habits(result: Result) -> tuple[Habit, ...]:
    """Find the habits of a pass, the one to work on first before the others.

    What is common to all notes comes first, then what the drill is for, then what costs most.

    Args:
        result: the marks of the pass.
    """
    marks = {mark.step.index: mark for mark in result.marks}
    heard = [mark for mark in result.marks if mark.criteria]
    notes = [PlayedNote(m.step, m.criteria, m.measured, result.drill) for m in heard]
    right = [note for note in notes if note.is_right]
    common = [_habit(finding, marks) for finding in (*_all_off(right), *_all_late(notes))]
    silenced = {habit.criterion for habit in common}
    findings = [
        finding
        for rule in RULES
        if rule.criterion not in silenced
        for finding in _apply(rule, right)
    ]
    findings += _swing(notes, silenced)
    findings += _leaking(right)
    findings += _holes([mark for mark in heard if not is_wrong_note(mark.step, mark.measured)])
    findings += _wrong_notes(notes)
    findings += _skipped(result)
    aimed = {aim.criterion for aim in result.drill.aims}
    kept = _without_parts([_habit(finding, marks) for finding in findings])
    kept.sort(key=lambda habit: (habit.criterion not in aimed, -habit.cost, -habit.fraction))
    return (*common, *kept)


def _habit(finding: _Finding, marks: Mapping[int, Mark]) -> Habit:
    shown = tuple(marks[step.index] for step in finding.steps)
    known = [abs(size) for size in finding.sizes]
    criterion = finding.criterion
    cost = sum(
        (100.0 - mark.criteria.get(criterion, 0.0)) * float(mark.step.beats) for mark in shown
    )
    size = median(known) if known else 0.0
    return Habit(finding.name, shown, finding.of, size, cost, criterion)


def is_common(count: int, of: int) -> bool:
    """Whether a fault on some of the notes that could show it is a habit."""
    return count >= min(HABITS.min_notes, of) and count >= HABITS.min_fraction * of and count > 0


def _apply(rule: _Rule, notes: Sequence[PlayedNote]) -> Iterator[_Finding]:
    figures = [(note, value) for note in notes if (value := rule.value(note)) is not None]
    for name in filter(None, (rule.above, rule.below)):
        faulty = [(note.step, v) for note, v in figures if rule.shown(note, v) == name]
        if is_common(len(faulty), len(figures)):
            steps, sizes = zip(*faulty, strict=True)
            yield _Finding(name, rule.criterion, steps, len(figures), sizes)


def _all_off(notes: Sequence[PlayedNote]) -> Iterator[_Finding]:
    """All notes off by the same cents: the harp, its tuning, or the recording."""
    known = [
        (n.step, n.figures.cents)
        for n in notes
        if _is_plain(n.step)
        and n.figures.cents is not None
        and n.criteria.get("pitch", 0.0) > 0.0
    ]  # fmt: skip
    if len(known) < HABITS.min_all_notes:
        return
    naturals = {str(step.first[0]) for step, _ in known if step.first[0].is_natural}
    middle = median(cents for _, cents in known)
    alike = [step for step, cents in known if abs(cents - middle) <= HABITS.alike_cents]
    if (
        abs(middle) >= HABITS.all_off_cents
        and len(alike) >= HABITS.alike_fraction * len(known)
        and len(naturals) >= HABITS.min_different_notes
    ):
        name = "all sharp" if middle > 0 else "all flat"
        yield _Finding(name, "pitch", alike, len(known), [middle])


def _all_late(notes: Sequence[PlayedNote]) -> Iterator[_Finding]:
    """All notes late or early by the same time: the latency, or the count-in."""
    known = [(n.step, n.figures.late_ms) for n in notes if n.figures.late_ms is not None]
    if len(known) < HABITS.min_all_notes:
        return
    middle = median(late for _, late in known)
    alike = [step for step, late in known if abs(late - middle) <= HABITS.alike_ms]
    # Where the notes on the beat are in time, the off-beats are a habit of their own.
    on_beat = [late for step, late in known if _is_on_beat(step)] or [middle]
    is_shared = abs(median(on_beat) - middle) <= HABITS.alike_ms
    is_alike = is_shared and len(alike) >= HABITS.alike_fraction * len(known)
    if abs(middle) >= HABITS.all_late_ms and is_alike:
        name = "all late" if middle > 0 else "all early"
        yield _Finding(name, "time", alike, len(known), [middle])
        return
    if len(known) < HABITS.min_trend_notes:
        return
    third = len(known) // 3
    first = median(late for _, late in known[:third])
    last = median(late for _, late in known[-third:])
    if abs(last - first) >= HABITS.trend_ms:
        name = "dragging" if last > first else "rushing"
        yield _Finding(name, "time", [step for step, _ in known[-third:]], third, [last - first])


def _swing(notes: Sequence[PlayedNote], silenced: set[str]) -> Iterator[_Finding]:
    """Swung off-beats played straight: early by the swing, while the beats are in time."""
    halves = [
        (note.step, value, note.figures.late_ms)
        for note in notes
        if _is_halfway(note.step)
        and note.figures.late_ms is not None
        and (value := _straightness(note)) is not None
    ]
    if "time" in silenced:
        return
    straight = [(step, late) for step, value, late in halves if value >= 0.0]
    if is_common(len(straight), len(halves)):
        steps, sizes = zip(*straight, strict=True)
        yield _Finding("swing straight", "time", steps, len(halves), sizes)


def _leaking(notes: Sequence[PlayedNote]) -> Iterator[_Finding]:
    """Leaks by their side."""
    single = [note for note in notes if _must_be_clean(note.step)]
    leaking = [note for note in single if _leaks(note)]
    if is_common(len(leaking), len(single)):
        below = [note for note in leaking if _leak_side(note) < 0.0]
        side = "below" if len(below) >= 0.8 * len(leaking) else "above"
        if 0.2 * len(leaking) < len(below) < 0.8 * len(leaking):
            side = "beside"
        levels = [note.figures.leak_db or 0.0 for note in leaking]
        steps = [note.step for note in leaking]
        yield _Finding(f"leaks {side}", "cleanness", steps, len(single), levels)


def _holes(marks: Sequence[Mark]) -> Iterator[_Finding]:
    """Chords that lack a hole, and motion that is missing."""
    heard = [mark for mark in marks if mark.measured.holes]
    chords = [mark for mark in heard if mark.step.is_chord and not mark.step.is_gesture]
    for name, lacks in (("upper hole missing", -1), ("lower hole missing", 0)):
        lacking = [mark.step for mark in chords if _lacks(mark, lacks)]
        if is_common(len(lacking), len(chords)):
            yield _Finding(name, "cleanness", lacking, len(chords))
    must_blur = [
        mark
        for mark in marks
        if mark.step.is_gesture
        or (mark.step.cleanness_rule is CleannessRule.CHORD and not mark.step.is_chord)
    ]
    alone = [mark.step for mark in must_blur if len(mark.measured.holes) == 1]
    if is_common(len(alone), len(must_blur)):
        yield _Finding("chords single", "cleanness", alone, len(must_blur))
    for name, selects, is_missing in _MISSING:
        able = [mark for mark in marks if selects(mark.step)]
        lacking = [mark.step for mark in able if is_missing(mark.measured)]
        if is_common(len(lacking), len(able)):
            yield _Finding(name, "motion", lacking, len(able))


def _is_flat(name: str) -> Callable[[Measured], bool]:
    """Whether a scoop or fall is too shallow to be heard."""
    return lambda measured: (getattr(measured, name) or 0.0) < SENTENCE.min_inflection_cents


_MISSING: tuple[tuple[str, Selects, Callable[[Measured], bool]], ...] = (
    ("no vibrato", _has_vibrato, lambda measured: measured.vibrato_hz is None),
    ("no hand vibrato", _has_hand_vibrato, lambda measured: measured.vibrato_hz is None),
    ("no wah", _has_wah, lambda measured: measured.wah_hz is None),
    ("no shake", _has_shake, lambda measured: measured.shake_hz is None),
    ("no dips", _has_dip, _is_flat("dip_cents")),
    ("no scoops", _has_scoop, _is_flat("dip_cents")),
    ("no falls", _has_fall, _is_flat("fall_cents")),
    ("no grace notes", _has_grace_note, lambda measured: measured.grace_ms is None),
)
"""Motion that is missing: name of the habit, steps that ask for it, and whether one lacks it."""


def _lacks(mark: Mark, place: int) -> bool:
    holes = sorted(tab.hole for tab in mark.step.last)
    return holes[place] not in (*mark.measured.holes, *mark.measured.hidden)


def _wrong_notes(notes: Sequence[PlayedNote]) -> Iterator[_Finding]:
    """Bends that were not bent, notes a hole too low or high, and the other breath."""
    for name, selects in _WRONG_NOTES.items():
        able = [note for note in notes if selects(note.step)]
        wrong = [note.step for note in able if note.wrong_kind == name]
        is_enough = (
            is_common(len(wrong), len(able))
            if name == "not bent"
            else len(wrong) >= HABITS.min_wrong
        )
        if is_enough:
            yield _Finding(name, "pitch", wrong, len(able))


def _skipped(result: Result) -> Iterator[_Finding]:
    missed = [
        mark.step
        for mark in result.marks
        if not mark.criteria and not is_left_out(mark.step, mark.measured)
    ]
    if len(missed) >= HABITS.min_wrong:
        yield _Finding("notes missing", "time", missed, len(result.marks))


def _without_parts(habits: Sequence[Habit]) -> list[Habit]:
    """Habits without those that a more specific one explains."""
    names = {habit.name for habit in habits}
    kept = []
    for habit in habits:
        specific = _SPECIFIC.get(habit.name, frozenset()) & names
        shown = {id(m) for other in habits if other.name in specific for m in other.marks}
        if specific and sum(id(mark) in shown for mark in habit.marks) >= 0.6 * len(habit.marks):
            continue
        kept.append(habit)
    return kept
