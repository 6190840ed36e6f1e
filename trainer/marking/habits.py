"""Habits: faults that many notes of a pass share.

A teacher hears forty notes and names one cause. A habit is a fault of one kind, in one direction,
on most of the notes that could show it: every bend too shallow, the off-beats early, the hole below
leaking. Habits are looked for in the figures, not in the points, so that one is named even where
its criterion weighs little in the drill.

A rule asks for a figure of some notes and for the bound beyond which it is a fault. A habit is
found where at least `min_notes` of those notes and `min_fraction` of them lie beyond the bound on
the same side. Where all notes are off alike, that is one habit (the harp's tuning, the latency) and
not one for each kind of note.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from trainer.drill import CleannessRule, Drill, Step
from trainer.harp import HOLES, Breath, Tab
from trainer.marking.criteria import is_wrong_note
from trainer.marking.mark import Mark, Result
from trainer.marking.parameters import HABITS


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
class _Note:
    """A mark with what surrounds it."""

    mark: Mark
    previous: Mark | None
    drill: Drill

    @property
    def step(self) -> Step:
        return self.mark.step

    @property
    def tab(self) -> Tab:
        return self.mark.step.first[0]

    @property
    def is_plain(self) -> bool:
        """Whether it is one held note."""
        return not self.step.has_path and not self.step.is_chord

    @property
    def is_bend(self) -> bool:
        return self.is_plain and bool(self.tab.bend) and not self.tab.over

    @property
    def is_natural(self) -> bool:
        return self.is_plain and self.tab.is_natural and not self.step.offset_cents(0)

    @property
    def is_overblow(self) -> bool:
        return self.is_plain and self.tab.over

    @property
    def is_off_beat(self) -> bool:
        return self.step.start.denominator != 1

    @property
    def is_on_beat(self) -> bool:
        return not self.is_off_beat


Figure = Callable[[_Note], float | None]
"""A signed figure of a note; None where the note cannot show the fault."""


@dataclass(frozen=True, slots=True)
class _Rule:
    """How habits of one figure are found.

    Attributes:
        criterion: criterion of the fault.
        figure: the figure.
        bound: bound beyond which it is a fault, given the drill.
        above, below: names of the habit where the figure lies above the bound, or below its
            negative; empty where that is no fault.
    """

    criterion: str
    figure: Figure
    bound: Callable[[Drill], float]
    above: str = ""
    below: str = ""


def _figure(name: str, selects: Callable[[_Note], bool]) -> Figure:
    """The figure of that name in :class:`~trainer.marking.mark.Measured`, of selected notes."""

    def figure(note: _Note) -> float | None:
        return getattr(note.mark.measured, name) if selects(note) else None

    return figure


def _vibrato_figure(name: str, wanted: str) -> Figure:
    """Ratio of a vibrato's figure to the wanted one, less 1."""

    def figure(note: _Note) -> float | None:
        value = getattr(note.mark.measured, name)
        vibrato = note.step.vibrato
        return value / getattr(vibrato, wanted) - 1.0 if vibrato and value is not None else None

    return figure


def _scoop(note: _Note) -> float | None:
    """How far above its held pitch a bend was attacked, in cents."""
    measured = note.mark.measured
    is_attacked = note.is_bend and not measured.is_slurred
    if not is_attacked or measured.scoop_cents is None or measured.cents is None:
        return None
    return measured.scoop_cents - measured.cents


def _is_natural_of(breath: Breath, holes: Iterable[int] = HOLES) -> Callable[[_Note], bool]:
    numbers = frozenset(holes)
    return lambda note: note.is_natural and note.tab.breath is breath and note.tab.hole in numbers


def _tolerances(count: float) -> Callable[[Drill], float]:
    return lambda drill: count * drill.goal.tolerance


def _constant(bound: float) -> Callable[[Drill], float]:
    return lambda drill: bound


def _late_bound(drill: Drill) -> float:
    return max(HABITS.late_beats * 60_000.0 / drill.tempo, HABITS.late_ms)


def _stray_bound(drill: Drill) -> float:
    return max(2.5 * drill.goal.tolerance, HABITS.stray_cents)


def _is_blue(note: _Note) -> bool:
    return note.is_plain and any(note.step.offsets_cents)


_BENDS = operator.attrgetter("is_bend")
_NATURALS = operator.attrgetter("is_natural")
_PLAIN = operator.attrgetter("is_plain")
_GLIDES = operator.attrgetter("step.is_glide")
_OVERBLOWS = operator.attrgetter("is_overblow")
_OFF_BEATS = operator.attrgetter("is_off_beat")
_ON_BEATS = operator.attrgetter("is_on_beat")
_LOW_DRAWS = _is_natural_of(Breath.DRAW, (2, 3))
_DRAWS, _BLOWS = _is_natural_of(Breath.DRAW), _is_natural_of(Breath.BLOW)

RULES = (
    _Rule("pitch", _figure("cents", _BENDS), _tolerances(1), "bends shallow", "bends deep"),
    _Rule(
        "pitch", _figure("cents", _OVERBLOWS), _tolerances(1), "overblows sharp", "overblows flat"
    ),
    _Rule("pitch", _figure("cents", _LOW_DRAWS), _tolerances(1), "", "low draws sag"),
    _Rule("pitch", _figure("cents", _DRAWS), _tolerances(1), "", "draws flat"),
    _Rule("pitch", _figure("cents", _BLOWS), _tolerances(1), "", "blows flat"),
    _Rule("pitch", _figure("cents", _is_blue), _tolerances(1), "blue notes high", "blue notes low"),
    _Rule("attack", _scoop, _tolerances(2.5), "bends scooped"),
    _Rule("attack", _figure("settle_ms", _PLAIN), _constant(HABITS.settle_ms), "slow to settle"),
    _Rule("steadiness", _figure("wobble_cents", _BENDS), _tolerances(0.5), "bends unsteady"),
    _Rule("steadiness", _figure("wobble_cents", _NATURALS), _tolerances(0.5), "notes unsteady"),
    _Rule("steadiness", _figure("drift_cents", _BENDS), _tolerances(1), "bends rise", "bends sink"),
    _Rule(
        "steadiness", _figure("drift_cents", _NATURALS), _tolerances(1), "notes rise", "notes sag"
    ),
    _Rule("time", _figure("late_ms", _OFF_BEATS), _late_bound, "off-beats late", "off-beats early"),
    _Rule("time", _figure("late_ms", _ON_BEATS), _late_bound, "beats late", "beats early"),
    _Rule(
        "motion",
        _vibrato_figure("vibrato_hz", "hz"),
        _constant(HABITS.vibrato_ratio),
        "vibrato fast",
        "vibrato slow",
    ),
    _Rule(
        "motion",
        _vibrato_figure("vibrato_cents", "cents"),
        _constant(HABITS.vibrato_depth_ratio),
        "vibrato wide",
        "vibrato shallow",
    ),
    _Rule("motion", _figure("back_cents", _GLIDES), _tolerances(2.5), "glides turn back"),
    _Rule("motion", _figure("stray_cents", _GLIDES), _stray_bound, "glides jump", "glides lag"),
)
"""Rules for the figures of single notes."""


def find_habits(result: Result) -> tuple[Habit, ...]:
    """Find the habits of a pass, the one to work on first before the others.

    What is common to all notes comes first, then what the drill is for, then what costs most.

    Args:
        result: the marks of the pass.
    """
    before = [None, *result.marks[:-1]]
    notes = [
        _Note(mark, previous, result.drill)
        for mark, previous in zip(result.marks, before, strict=True)
        if mark.criteria
    ]
    right = [n for n in notes if not is_wrong_note(n.step, n.mark.measured)]
    common = [*_all_off(right), *_all_late(notes)]
    silenced = {habit.criterion for habit in common}
    habits = [
        habit for rule in RULES if rule.criterion not in silenced for habit in _apply(rule, right)
    ]
    habits += _swing(notes, silenced)
    habits += _holes(right)
    habits += _wrong_notes(notes)
    habits += _skipped(result)
    aimed = {aim.criterion for aim in result.drill.aims}
    kept = _without_parts(habits)
    kept.sort(key=lambda habit: (habit.criterion not in aimed, -habit.cost, -habit.fraction))
    return (*common, *kept)


def _habit(
    name: str, criterion: str, marks: Sequence[Mark], of: int, sizes: Iterable[float]
) -> Habit:
    known = [abs(size) for size in sizes]
    cost = sum(
        (100.0 - mark.criteria.get(criterion, 0.0)) * float(mark.step.beats) for mark in marks
    )
    return Habit(name, tuple(marks), of, median(known) if known else 0.0, cost, criterion)


def _is_common(count: int, of: int) -> bool:
    return count >= min(HABITS.min_notes, of) and count >= HABITS.min_fraction * of and count > 0


def _apply(rule: _Rule, notes: Sequence[_Note]) -> Iterator[Habit]:
    figures = [(note, value) for note in notes if (value := rule.figure(note)) is not None]
    for name, sign in ((rule.above, 1.0), (rule.below, -1.0)):
        faulty = [(n, v) for n, v in figures if name and sign * v > rule.bound(n.drill)]
        if _is_common(len(faulty), len(figures)):
            marks = [note.mark for note, _ in faulty]
            yield _habit(name, rule.criterion, marks, len(figures), (v for _, v in faulty))


def _all_off(notes: Sequence[_Note]) -> Iterator[Habit]:
    """All notes off by the same cents: the harp, its tuning, or the recording."""
    known = [
        (n.mark, n.mark.measured.cents)
        for n in notes
        if n.is_plain
        and n.mark.measured.cents is not None
        and n.mark.criteria.get("pitch", 0.0) > 0.0
    ]
    if len(known) < HABITS.min_all_notes:
        return
    naturals = {str(mark.step.first[0]) for mark, _ in known if mark.step.first[0].is_natural}
    middle = median(cents for _, cents in known)
    alike = [mark for mark, cents in known if abs(cents - middle) <= HABITS.alike_cents]
    if (
        abs(middle) >= HABITS.all_off_cents
        and len(alike) >= HABITS.alike_fraction * len(known)
        and len(naturals) >= HABITS.min_different_notes
    ):
        name = "all sharp" if middle > 0 else "all flat"
        yield _habit(name, "pitch", alike, len(known), [middle])


def _all_late(notes: Sequence[_Note]) -> Iterator[Habit]:
    """All notes late or early by the same time: the latency, or the count-in."""
    timed = [(n, n.mark.measured.late_ms) for n in notes if n.mark.measured.late_ms is not None]
    known = [(note.mark, late) for note, late in timed]
    if len(known) < HABITS.min_all_notes:
        return
    middle = median(late for _, late in known)
    alike = [mark for mark, late in known if abs(late - middle) <= HABITS.alike_ms]
    # Where the notes on the beat are in time, the off-beats are a habit of their own.
    on_beat = [late for note, late in timed if note.is_on_beat] or [middle]
    is_common = abs(median(on_beat) - middle) <= HABITS.alike_ms
    is_alike = is_common and len(alike) >= HABITS.alike_fraction * len(known)
    if abs(middle) >= HABITS.all_late_ms and is_alike:
        yield _habit("all late" if middle > 0 else "all early", "time", alike, len(known), [middle])
        return
    if len(known) < HABITS.min_trend_notes:
        return
    third = len(known) // 3
    first = median(late for _, late in known[:third])
    last = median(late for _, late in known[-third:])
    if abs(last - first) >= HABITS.trend_ms:
        name = "dragging" if last > first else "rushing"
        marks = [mark for mark, _ in known[-third:]]
        yield _habit(name, "time", marks, third, [last - first])


def _swing(notes: Sequence[_Note], silenced: set[str]) -> Iterator[Habit]:
    """Swung off-beats played straight: early by the swing, while the beats are in time."""
    if not notes or notes[0].drill.swing <= 1.0 or "time" in silenced:
        return
    drill = notes[0].drill
    swung_ms = 60_000.0 / drill.tempo * (drill.swing / (1.0 + drill.swing) - 0.5)
    halves = [
        (n.mark, n.mark.measured.late_ms)
        for n in notes
        if n.step.start.denominator == 2 and n.mark.measured.late_ms is not None
    ]
    straight = [
        (mark, late)
        for mark, late in halves
        if abs(late + swung_ms) <= HABITS.swing_slack * swung_ms
    ]
    if _is_common(len(straight), len(halves)):
        yield _habit(
            "swing straight",
            "time",
            [m for m, _ in straight],
            len(halves),
            (v for _, v in straight),
        )


def _holes(notes: Sequence[_Note]) -> Iterator[Habit]:
    """Leaks by their side, and chords that lack a hole."""
    single = [
        n
        for n in notes
        if n.is_plain and n.step.cleanness_rule in (CleannessRule.PLAIN, CleannessRule.CLEAN)
    ]
    leaking = [
        n for n in single
        if n.mark.measured.leak_db is not None and n.mark.measured.leak_db > HABITS.leak_db
    ]  # fmt: skip
    if _is_common(len(leaking), len(single)):
        below = [n for n in leaking if (n.mark.measured.leak_hole or 0) < n.tab.hole]
        side = "below" if len(below) >= 0.8 * len(leaking) else "above"
        if 0.2 * len(leaking) < len(below) < 0.8 * len(leaking):
            side = "beside"
        levels = (n.mark.measured.leak_db or 0.0 for n in leaking)
        yield _habit(f"leaks {side}", "cleanness", [n.mark for n in leaking], len(single), levels)
    chords = [n for n in notes if n.step.is_chord and n.mark.measured.holes]
    for name, lacks in (("upper hole missing", -1), ("lower hole missing", 0)):
        lacking = [n for n in chords if _lacks(n, lacks)]
        if _is_common(len(lacking), len(chords)):
            yield _habit(name, "cleanness", [n.mark for n in lacking], len(chords), [])
    must_blur = [
        n for n in notes if n.step.cleanness_rule is CleannessRule.CHORD and not n.step.is_chord
    ]
    alone = [n for n in must_blur if len(n.mark.measured.holes) == 1]
    if _is_common(len(alone), len(must_blur)):
        yield _habit("chords single", "cleanness", [n.mark for n in alone], len(must_blur), [])
    vibrato = [n for n in notes if n.step.vibrato]
    still = [n for n in vibrato if n.mark.measured.vibrato_hz is None]
    if _is_common(len(still), len(vibrato)):
        yield _habit("no vibrato", "motion", [n.mark for n in still], len(vibrato), [])


def _lacks(note: _Note, place: int) -> bool:
    holes = sorted(tab.hole for tab in note.step.last)
    measured = note.mark.measured
    return holes[place] not in (*measured.holes, *measured.hidden)


def _wrong_notes(notes: Sequence[_Note]) -> Iterator[Habit]:
    """Bends that were not bent, notes a hole too low or high, and the other breath."""
    kinds: dict[str, list[Mark]] = {}
    bends = [n for n in notes if n.is_bend]
    plain = [n for n in notes if n.is_plain]
    for note in plain:
        kind = _wrong_kind(note)
        if kind:
            kinds.setdefault(kind, []).append(note.mark)
    for kind, marks in kinds.items():
        of = len(bends) if kind == "not bent" else len(plain)
        enough = (
            _is_common(len(marks), of) if kind == "not bent" else len(marks) >= HABITS.min_wrong
        )
        if enough:
            yield _habit(kind, "pitch", marks, of, [])


def _wrong_kind(note: _Note) -> str:
    heard = note.mark.measured.heard
    if heard is None or note.mark.criteria.get("pitch", 0.0) > 0.0 or {"+", ">", "="} & set(heard):
        return ""
    played, wanted = Tab.parse(heard), note.tab
    if (played.hole, played.breath) == (wanted.hole, wanted.breath):
        return "not bent" if wanted.bend and not played.bend else ""
    if played.breath is not wanted.breath:
        return "other breath" if played.hole == wanted.hole else ""
    return "a hole too low" if played.hole < wanted.hole else "a hole too high"


def _skipped(result: Result) -> Iterator[Habit]:
    missed = [mark for mark in result.marks if not mark.criteria]
    if len(missed) >= HABITS.min_wrong:
        yield _habit("notes missing", "time", missed, len(result.marks), [])


def _without_parts(habits: Sequence[Habit]) -> list[Habit]:
    """Habits without those that a more specific one explains."""
    names = {habit.name for habit in habits}
    general = {
        "draws flat": {"low draws sag"},
        "slow to settle": {"bends scooped"},
        "off-beats early": {"swing straight"},
        "bends shallow": {"not bent"},
    }
    kept = []
    for habit in habits:
        specific = general.get(habit.name, set()) & names
        shown = {id(m) for other in habits if other.name in specific for m in other.marks}
        if specific and sum(id(mark) in shown for mark in habit.marks) >= 0.6 * len(habit.marks):
            continue
        kept.append(habit)
    return kept
