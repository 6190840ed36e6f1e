"""Patterns of faults, and what a good teacher says first about each (common practice)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.support import shelf
from tests.support.each import each_drill
from trainer.drill import (
    Articulation,
    Drill,
    Inflection,
    Step,
    find_drill,
    format_sound,
    parse_drill,
)
from trainer.harp import Harp
from trainer.marking import Mark, Measured, Result, find_habits, make_mark, pass_score
from trainer.report.advice import REMEDIES, advise

HARP = Harp.of("C")
SHELF = shelf.SHELF.drills
Fault = Callable[[Step], dict[str, object]]
"""Changes of the figures of a step."""


def faultless(step: Step) -> Measured:
    vibrato = step.vibrato
    beside = (step.last[0].hole + 1,) if step.implied_neighbour(step.last) else ()
    return Measured(
        start=0,
        end=24_000,
        late_ms=0.0,
        cents=0.0,
        wobble_cents=1.0,
        drift_cents=0.0,
        scoop_cents=0.0,
        settle_ms=20.0,
        holes=(*(tab.hole for tab in step.last), *beside),
        heard=format_sound(step.first) if not step.has_path and not step.offset_cents(0) else None,
        rungs=(0.0,) * len(step.sounds) if step.ladder else (),
        stray_cents=0.0 if step.is_glide else None,
        back_cents=0.0 if step.is_glide else None,
        vibrato_hz=vibrato.hz if vibrato else None,
        vibrato_cents=vibrato.cents if vibrato else None,
        vibrato_db=vibrato.db if vibrato else None,
        wah_hz=step.wah_hz or None,
        wah_db=6.0 if step.wah_hz else None,
        accent_db=5.0 if step.accent else None,
        swell_db=step.swell_db or None,
        held_fraction=0.4 if step.articulation is Articulation.STACCATO else 0.9,
        separation_db=20.0 if step.articulation is Articulation.TONGUED else None,
        gap_ms=0.0 if step.articulation is Articulation.LEGATO else None,
        slap=True if step.slap else None,
        shake_hz=step.shake.hz if step.shake else None,
        shake_fraction=0.5 if step.shake else None,
        shake_spread=0.05 if step.shake else None,
        shake_db=1.0 if step.shake else None,
        dip_cents=step.scoop.cents if step.scoop else None,
        dip_ms=length_ms(step.scoop) if step.scoop else None,
        fall_cents=step.fall.cents if step.fall else None,
        fall_ms=length_ms(step.fall) if step.fall else None,
        grace_ms=80.0 if step.grace else None,
    )


def length_ms(part: Inflection, tempo: float = 80.0) -> float:
    """Length of a scoop or fall at the tempo of most drills here."""
    return float(part.beats) * 60_000.0 / tempo


def played(drill: Drill, fault: Fault) -> Result:
    """The result of a pass with a fault."""
    marks: list[Mark] = []
    for step in drill.steps:
        changes = fault(step)
        measured = Measured() if changes.get("start", 0) is None else faultless(step)
        if changes:
            measured = replace(measured, **changes)  # type: ignore[arg-type]
        beat_ms = 60_000.0 / drill.tempo
        marks.append(make_mark(step, measured, drill.goal, beat_ms, harp=HARP))
    score = pass_score(drill, marks)
    return Result(drill, "C", drill.tempo, tuple(marks), score, score >= drill.goal.pass_mark)


def tune(tab: str, **fields: object) -> Drill:
    """A drill of the tab."""
    head = "".join(f"{name} = {value!r}\n" for name, value in fields.items())
    return parse_drill(
        f'title = "T"\nharp = "C"\ntempo = 80\nlevel = 6\n{head}tab = """\n{tab}\n"""', "t"
    )


def on(selects: Callable[[Step], bool], **changes: object) -> Fault:
    return lambda step: dict(changes) if selects(step) else {}


def every(step: Step) -> bool:
    return True


def bend(step: Step) -> bool:
    return bool(step.first[0].bend) and not step.has_path


def natural(step: Step) -> bool:
    return step.first[0].is_natural and not step.is_chord


def off_beat(step: Step) -> bool:
    return step.start.denominator != 1


def has_wah(step: Step) -> bool:
    return step.wah_hz > 0.0


def tab_is(*tabs: str) -> Callable[[Step], bool]:
    return lambda step: step.tab in tabs


def is_blue(step: Step) -> bool:
    return any(step.offsets_cents)


def is_over(step: Step) -> bool:
    return step.first[0].over


def has_vibrato(step: Step) -> bool:
    return step.vibrato is not None


def leak(side: int, db: float) -> Fault:
    return lambda step: {"leak_db": db, "leak_hole": step.first[0].hole + side}


def only(first: int, last: int | None) -> Fault:
    """Some of the holes of each chord."""
    holes = slice(first, last)
    return lambda step: (
        {"holes": tuple(tab.hole for tab in step.last)[holes]} if step.is_chord else {}
    )


def ramp(total_ms: float, steps: int) -> Fault:
    return lambda step: {"late_ms": total_ms * step.index / (steps - 1)}


BENDS = find_drill("half-step-on-four")
STRAIGHT = find_drill("straight-to-the-bend")
OFF = find_drill("on-the-and")
SWING = find_drill("swing-bridge")
SINGLE = find_drill("first-clean-notes")
SCALE = find_drill("middle-octave")
LOW = find_drill("low-water")
LONG = find_drill("long-level-tones")
LAMP = find_drill("lamp-on-the-swell")
SHAKES = tune("-4<>5:2 4<>5:2 | -5<>6:2 5<>6:2 |")
DIPS = tune("-4:1{dip} -3:1{dip} -2:1{dip} r:1 |")
SCOOPS = tune("-4:2{scoop} -3:2{scoop} | -2:2{scoop} r:2 |")
FALLS = tune("-4:2{fall} -3:2{fall} | -2:2{fall} r:2 |")
GRACES = tune("^-5 -4:1 ^5 4:1 ^-4 -3:1 r:1 |")
SPLITS = find_drill("octave-splits")
CHORDS = find_drill("stack-the-crates")
ENGINE = find_drill("ferry-engine")
UP = find_drill("bend-and-let-up")
OVER = find_drill("overblow-on-six")
BLUE = find_drill("blue-third")
TUNE = tune("-4:1 5:1 -4:1 4:1 | -5:1 6:1 -5:1 5:1 | -4:1 4:1 -3:1 -4:1 | 4:1 5:1 -5:1 6:1 |")
SWUNG_MS = 60_000.0 / SWING.tempo * (2 / 3 - 1 / 2)

WAHS = find_drill("foghorn-hands")
HANDS = tune("{hand vibrato} 4:2 5:2 | -4:2 -5:2 |")
TONGUED = tune("{tongued} 4:1 4:1 5:1 5:1 | -4:1 -4:1 -5:1 r:1 |")
STACCATO = tune("{staccato} 4:1 4:1 5:1 5:1 | -4:1 -4:1 -5:1 r:1 |")
LEGATO = tune("{legato} 4:1 5:1 6:1 5:1 | -4:1 -5:1 -6:1 r:1 |")
SLAPS = tune("{slap} 4:1 4:1 5:1 5:1 | -4:1 -4:1 -5:1 r:1 |")
ACCENTS = tune("4:1{accent} 4:1 5:1{accent} 5:1 | -4:1{accent} -4:1 -5:1 r:1 |")
SWELLS = tune("{swell} 4:2 5:2 | -4:2 -5:2 |")
PATTERNS: list[tuple[str, Drill, Fault, str]] = [
    ("every bend 40 cents shallow", BENDS, on(bend, cents=40.0), "bends shallow"),
    ("every bend 18 cents shallow", STRAIGHT, on(bend, cents=18.0), "bends shallow"),
    ("every bend 30 cents too deep", BENDS, on(bend, cents=-30.0), "bends deep"),
    ("no bend at all", BENDS, on(bend, cents=100.0, heard="-4"), "not bent"),
    ("overblows flat", OVER, on(is_over, cents=-45.0), "overblows flat"),
    ("overblows sharp", OVER, on(is_over, cents=45.0), "overblows sharp"),
    ("draw 2 and 3 sag", LOW, on(tab_is("-2", "-3"), cents=-28.0), "low draws sag"),
    ("all draws flat", SCALE, on(lambda s: s.tab.startswith("-"), cents=-25.0), "draws flat"),
    ("all blows flat", SCALE, on(lambda s: not s.tab.startswith("-"), cents=-25.0), "blows flat"),
    ("the whole harp 22 cents flat", SCALE, on(every, cents=-22.0), "all flat"),
    ("the whole harp 14 cents sharp", TUNE, on(every, cents=14.0), "all sharp"),
    ("a harp at 443", TUNE, on(every, cents=11.8), "all sharp"),
    ("blue thirds too high", BLUE, on(is_blue, cents=30.0), "blue notes high"),
    ("blue thirds too low", BLUE, on(is_blue, cents=-30.0), "blue notes low"),
    ("every bend scooped", STRAIGHT, on(bend, scoop_cents=100.0, settle_ms=120.0), "bends scooped"),
    ("scooped slowly", STRAIGHT, on(bend, scoop_cents=90.0, settle_ms=260.0), "bends scooped"),
    ("slow to settle", LONG, on(every, scoop_cents=-60.0, settle_ms=320.0), "slow to settle"),
    ("bends wobble", STRAIGHT, on(bend, wobble_cents=16.0), "bends unsteady"),
    ("long notes wobble", LONG, on(every, wobble_cents=20.0), "notes unsteady"),
    ("bends creep up", STRAIGHT, on(bend, drift_cents=35.0), "bends rise"),
    ("bends sink", STRAIGHT, on(bend, drift_cents=-35.0), "bends sink"),
    ("long notes sag", LONG, on(every, drift_cents=-30.0), "notes sag"),
    ("long notes rise", LONG, on(every, drift_cents=30.0), "notes rise"),
    ("off-beats 110 ms early", OFF, on(off_beat, late_ms=-110.0), "off-beats early"),
    ("off-beats 90 ms late", OFF, on(off_beat, late_ms=90.0), "off-beats late"),
    ("swing played straight", SWING, on(off_beat, late_ms=-SWUNG_MS), "swing straight"),
    ("everything 90 ms late", TUNE, on(every, late_ms=90.0), "all late"),
    ("everything 645 ms early", TUNE, on(every, late_ms=-645.0), "all early"),
    ("speeding up", TUNE, ramp(-300.0, 16), "rushing"),
    ("slowing down", TUNE, ramp(300.0, 16), "dragging"),
    ("the hole above leaks", SCALE, leak(1, -8.0), "leaks above"),
    ("the hole below leaks", SINGLE, leak(-1, -8.0), "leaks below"),
    ("a faint leak on every note", SINGLE, leak(-1, -18.0), "leaks below"),
    (
        "both neighbours leak",
        SCALE,
        lambda s: {"leak_db": -9.0, "leak_hole": s.first[0].hole + (-1 if s.index % 2 else 1)},
        "leaks beside",
    ),
    ("splits without the upper hole", SPLITS, only(0, 1), "upper hole missing"),
    ("chords without the lower hole", CHORDS, only(1, None), "lower hole missing"),
    (
        "chords as single notes",
        ENGINE,
        lambda s: {} if s.is_chord else {"holes": (s.first[0].hole,)},
        "chords single",
    ),
    ("no vibrato", LAMP, on(has_vibrato, vibrato_hz=None, vibrato_cents=None), "no vibrato"),
    ("vibrato too fast", LAMP, on(has_vibrato, vibrato_hz=7.0), "vibrato fast"),
    ("vibrato too slow", LAMP, on(has_vibrato, vibrato_hz=3.0), "vibrato slow"),
    ("vibrato too wide", LAMP, on(has_vibrato, vibrato_cents=45.0), "vibrato wide"),
    ("vibrato too shallow", LAMP, on(has_vibrato, vibrato_cents=6.0), "vibrato shallow"),
    ("no hand vibrato", HANDS, on(every, vibrato_hz=None, vibrato_db=None), "no hand vibrato"),
    ("hand vibrato too shallow", HANDS, on(every, vibrato_db=2.0), "hand vibrato shallow"),
    ("hand vibrato too deep", HANDS, on(every, vibrato_db=14.0), "hand vibrato deep"),
    ("no wah", WAHS, on(has_wah, wah_hz=None, wah_db=None), "no wah"),
    ("wahs too shallow", WAHS, on(has_wah, wah_db=1.5), "wahs shallow"),
    ("wahs too fast", WAHS, on(has_wah, wah_hz=5.0), "wahs fast"),
    ("wahs too slow", WAHS, on(has_wah, wah_hz=0.6), "wahs slow"),
    ("every note cut short", SINGLE, on(every, held_fraction=0.2), "notes cut short"),
    ("tongued notes run on", TONGUED, on(every, separation_db=0.5), "notes run on"),
    ("long staccato notes", STACCATO, on(every, held_fraction=0.85), "staccato long"),
    ("gaps in legato", LEGATO, on(every, gap_ms=70.0), "legato broken"),
    ("slaps left out", SLAPS, on(every, slap=False), "slaps missing"),
    ("accents like the rest", ACCENTS, on(lambda s: s.accent, accent_db=0.5), "accents weak"),
    ("swells that stay level", SWELLS, on(every, swell_db=0.5), "swells flat"),
    ("one hole of a shake", SHAKES, on(every, shake_hz=None, shake_fraction=None), "no shake"),
    ("slow shakes", SHAKES, on(every, shake_hz=3.5), "shakes slow"),
    ("fast shakes", SHAKES, on(every, shake_hz=9.0), "shakes fast"),
    ("shakes stay on the lower hole", SHAKES, on(every, shake_fraction=0.8), "shakes lean low"),
    ("shakes stay on the upper hole", SHAKES, on(every, shake_fraction=0.2), "shakes lean high"),
    ("the upper hole barely opens", SHAKES, on(every, shake_db=-15.0), "shakes weak above"),
    ("the lower hole barely opens", SHAKES, on(every, shake_db=15.0), "shakes weak below"),
    ("shakes by fits and starts", SHAKES, on(every, shake_spread=0.5), "shakes irregular"),
    ("no dips", DIPS, on(every, dip_cents=0.0), "no dips"),
    ("dips too shallow", DIPS, on(every, dip_cents=40.0), "dips shallow"),
    ("dips too deep", DIPS, on(every, dip_cents=220.0), "dips deep"),
    ("dips that become scoops", DIPS, on(every, dip_ms=400.0), "dips slow"),
    ("no scoops", SCOOPS, on(every, dip_cents=5.0), "no scoops"),
    ("scoops from halfway", SCOOPS, on(every, dip_cents=50.0), "scoops shallow"),
    ("scoops at once", SCOOPS, on(every, dip_ms=80.0), "scoops quick"),
    ("no falls", FALLS, on(every, fall_cents=0.0), "no falls"),
    ("falls too short", FALLS, on(every, fall_cents=40.0), "falls shallow"),
    ("falls too far", FALLS, on(every, fall_cents=250.0), "falls deep"),
    ("no grace notes", GRACES, on(every, grace_ms=None), "no grace notes"),
    ("grace notes of some length", GRACES, on(every, grace_ms=220.0), "grace notes long"),
    ("glides turn back", UP, on(lambda s: s.is_glide, back_cents=60.0), "glides turn back"),
    (
        "leaps land a hole low",
        TUNE,
        on(tab_is("6", "5"), cents=-300.0, heard="4"),
        "a hole too low",
    ),
    ("leaps land a hole high", TUNE, on(tab_is("4"), cents=400.0, heard="5"), "a hole too high"),
    ("the wrong breath", TUNE, on(tab_is("-5"), cents=-100.0, heard="5"), "other breath"),
    ("notes left out", TUNE, on(tab_is("-5", "-3"), start=None), "notes missing"),
]


@pytest.mark.parametrize(
    ("drill", "fault", "habit"), [p[1:] for p in PATTERNS], ids=[p[0] for p in PATTERNS]
)
def test_a_teacher_names_the_cause_first(drill: Drill, fault: Fault, habit: str) -> None:
    result = played(drill, fault)
    assert find_habits(result)[0].name == habit
    first = advise(result, SHELF)[0]
    assert first.focus.startswith(REMEDIES[habit].focus.partition("{")[0].rstrip(".")[:12])
    assert first.reason


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern[0])
def test_a_proposed_drill_is_within_reach(pattern: tuple[str, Drill, Fault, str]) -> None:
    _, drill, fault, _ = pattern
    by_title = {shown.title: shown for shown in SHELF}
    for advice in advise(played(drill, fault), SHELF):
        if advice.drill:
            assert by_title[advice.drill].level <= drill.level
            assert advice.drill != drill.title


@each_drill(SHELF)
def test_a_faultless_pass_gets_no_advice(drill: Drill) -> None:
    assert advise(played(drill, lambda step: {}), SHELF) == ()


def test_there_are_many_patterns() -> None:
    assert len({name for name, *_ in PATTERNS}) >= 40
    assert {habit for *_, habit in PATTERNS} <= set(REMEDIES)


def test_the_tuning_is_named_with_its_a4() -> None:
    (advice, *_) = advise(played(SCALE, on(every, cents=-22.0)), SHELF)
    assert advice.focus == "The whole harp is 22 cents flat."
    assert "A4 = 434.4 Hz" in advice.reason  # 440 Hz · 2^(-22/1200)
