"""No sentence has an impossible figure, and no two clauses of one contradict each other."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.synthetic_takes import (
    HARP,
    Fault,
    clock_of,
    drill_of,
    notes_of,
    readings_of,
)
from trainer.drill import Goal, Step
from trainer.drill.tab_reader import parse_tab
from trainer.harp import Harp
from trainer.marking import Mark, Marker, Measured, make_mark
from trainer.marking.criteria import is_wrong_note
from trainer.marking.sentence import mark_sentence

TABS = (
    "4:1", "-2:1", "-3:1", "-8:1", "8:1", "2:1", "-4':1", "-3'':1", "8':1", "6o:1", "-7o:1",
    "-3@-40:1", "-2/3:1", "4+5:1", "-2+3+4:1", "1+4:1", "-4'>-4:2", "-4>-4':2", "4>5>6:2",
    "-3=-3'=-3'':3", "-4:3{vibrato}", "-5:1{clean}", "-5:1{blur}", "-5:1{chord}",
)  # fmt: skip
STEPS = [parse_tab(tab, None).steps[0] for tab in TABS]
HEARD = ("4", "-4", "-4'", "-2", "3", "5", "-5", "1+4", "4+5", "-4'>-4", "4>6", "-3=-3'=-3''")


def some(least: float, most: float) -> st.SearchStrategy[float | None]:
    return st.one_of(st.none(), st.floats(least, most))


@st.composite
def figures(draw: st.DrawFn) -> tuple[Step, Measured]:
    """Any figures, however impossible together."""
    step = draw(st.sampled_from(STEPS))
    own = step.tab.partition("/")[0].partition("@")[0]
    is_path = step.has_path
    heard = draw(st.sampled_from([None, own, own, *HEARD]))
    if (
        heard is not None
        and heard != own
        and (">" in heard, "=" in heard)
        != (
            step.is_glide,
            step.ladder,
        )
    ):
        heard = own
    leak_db = draw(some(-60.0, 40.0))
    holes = tuple(sorted(draw(st.sets(st.integers(1, 10), max_size=4))))
    wobble, drift = draw(some(0.0, 600.0)), draw(some(-700.0, 700.0))
    rungs = [draw(some(-700.0, 700.0)) for _ in step.sounds] if step.ladder else []
    return step, Measured(
        start=0,
        end=48_000,
        late_ms=draw(some(-3000.0, 20_000.0)),
        cents=draw(some(-700.0, 700.0)),
        wobble_cents=wobble,
        drift_cents=drift,
        scoop_cents=draw(some(-900.0, 900.0)),
        settle_ms=None if is_path else draw(some(0.0, 3000.0)),
        leak_db=leak_db,
        leak_hole=None if leak_db is None else draw(st.integers(1, 10)),
        holes=holes,
        heard=heard,
        rungs=tuple(rungs),
        stray_cents=draw(some(0.0, 900.0)) if step.is_glide else None,
        back_cents=draw(some(0.0, 900.0)) if is_path else None,
        vibrato_hz=draw(some(1.0, 15.0)) if step.vibrato else None,
        vibrato_cents=draw(some(1.0, 300.0)) if step.vibrato else None,
        is_slurred=draw(st.booleans()),
        held_on=draw(st.sampled_from([None, None, own, "3"])),
        tries=draw(st.sampled_from([None, 1, 4])),
    )


def cents_in(sentence: str) -> list[float]:
    return [float(number) for number in re.findall(r"(\d+) cents", sentence)]


CONTRADICTIONS = (
    ("in tune", "flat"),
    ("in tune", "sharp"),
    ("no steady", "cents"),
    ("no steady", "settled"),
    ("played", "cents"),
    ("played", "settled"),
    ("no bend", "deep"),
    ("sounded alone", "leaking"),
    ("held on", "late"),
    ("held on", "early"),
    ("start cannot be heard", " ms late"),
)


@given(figures())
@settings(max_examples=400)
def test_no_figures_lead_to_an_impossible_sentence(drawn: tuple[Step, Measured]) -> None:
    step, measured = drawn
    if measured.held_on:
        measured = replace(measured, late_ms=None, settle_ms=None)
        if not step.has_path:
            measured = replace(measured, scoop_cents=None)
    for harp in (HARP, None):
        mark = make_mark(step, measured, Goal(), 600.0, harp=harp)
        sentence = mark.sentence
        assert sentence
        assert not re.search(r"None|nan|inf|-\d+ (cents|ms|dB)|\b0 (cents|dB)", sentence), sentence
        assert max(cents_in(sentence), default=0.0) <= 200.0, sentence
        for late in re.findall(r"(\d+) ms (?:late|early)", sentence):
            assert int(late) <= 900, sentence
        for dB in re.findall(r"(\d+) dB", sentence):
            assert int(dB) <= 60, sentence
        parts = [part.split(" (")[0] for part in sentence.split("; ")]
        for clause, other in CONTRADICTIONS:
            with_clause = [part for part in parts if clause in part]
            assert not any(other in p for p in parts if with_clause and p not in with_clause), (
                sentence
            )


@given(figures())
@settings(max_examples=200)
def test_no_note_is_bent_by_accident_that_cannot_bend(drawn: tuple[Step, Measured]) -> None:
    step, measured = drawn
    tab = step.first[0]
    cannot = tab.breath == "blow" if tab.hole <= 6 else tab.breath == "draw"
    for harp in (HARP, None):
        mark = make_mark(step, measured, Goal(), 600.0, harp=harp)
        assert not (cannot and "bent by accident" in mark.sentence), mark.sentence


@given(figures())
@settings(max_examples=200)
def test_a_note_with_a_figure_in_cents_was_the_note_that_was_asked_for(
    drawn: tuple[Step, Measured],
) -> None:
    step, measured = drawn
    sentence = make_mark(step, measured, Goal(), 600.0, harp=HARP).sentence
    if is_wrong_note(step, measured):
        assert "cents" not in sentence


def sentence_of(tab: str, **measured: object) -> str:
    step = parse_tab(tab, None).steps[0]
    good = {
        "start": 0, "end": 1, "late_ms": 0.0, "cents": 0.0, "wobble_cents": 0.0, "drift_cents": 0.0,
        "scoop_cents": 0.0, "settle_ms": 20.0, "holes": tuple(tab.hole for tab in step.last),
    }  # fmt: skip
    figures = Measured(**{**good, **measured})  # type: ignore[arg-type]
    return make_mark(step, figures, Goal(), 1000.0, harp=HARP).sentence


@pytest.mark.parametrize(
    ("tab", "measured", "sentence"),
    [
        ("-4:1", {"wobble_cents": 498.0}, "no steady -4: the pitch moved from note to note"),
        (
            "-4:1",
            {"cents": -229.0, "scoop_cents": -229.0, "drift_cents": 620.0, "late_ms": 1649.0},
            "no steady -4: the pitch moved from note to note; about 2 beats late",
        ),
        ("-2:1", {"cents": -25.0, "scoop_cents": -25.0}, "25 cents flat: draw it with less breath"),
        ("-4:1", {"cents": -25.0, "scoop_cents": -25.0}, "25 cents flat, as if bent by accident"),
        ("4:1", {"cents": -25.0, "scoop_cents": -25.0}, "25 cents flat"),
        ("-8:1", {"cents": -25.0, "scoop_cents": -25.0}, "25 cents flat"),
        ("8:1", {"cents": -25.0, "scoop_cents": -25.0}, "25 cents flat, as if bent by accident"),
        ("-4'>-4:2", {"cents": -229.0, "settle_ms": None}, "does not end on -4"),
        ("-4'>-4:2", {"scoop_cents": 229.0, "settle_ms": None}, "does not start on -4'"),
        ("-4'>-4:2", {"stray_cents": 498.0, "settle_ms": None}, "left the path"),
        (
            "-4:1",
            {"scoop_cents": -498.0, "settle_ms": 400.0},
            "slid in from another note, settled after 400 ms",
        ),
        ("-5:1", {"leak_db": 10.0, "leak_hole": 6}, "hole 6 leaking, louder than the note"),
    ],
)  # fmt: skip
def test_contradicting_figures_say_what_was_probably_played(
    tab: str, measured: dict[str, object], sentence: str
) -> None:
    assert sentence_of(tab, **measured) == sentence


# A whole pass that is off alike

TUNE = drill_of("4:1 -4:1 5:1 -5:1 | 6:1 -6:1 -5:1 5:1 | -4:1 4:1 -4:2")


def marks_of(cents: float, harp: Harp = HARP, **other: Fault) -> tuple[Mark, ...]:
    faults = {step.index: Fault(cents=cents) for step in TUNE.steps}
    faults |= {int(name[1:]): fault for name, fault in other.items()}
    marker = Marker(TUNE, harp, clock_of(TUNE))
    for reading in readings_of(notes_of(TUNE, faults)):
        marker.observe(reading)
    return marker.result().marks


@pytest.mark.parametrize(("cents", "side", "a4"), [(15.0, "sharp", 443.8), (-14.0, "flat", 436.5)])
def test_where_most_notes_are_off_alike_the_harp_is_named_once(
    cents: float, side: str, a4: float
) -> None:
    sentences = [mark.sentence for mark in marks_of(cents)]
    assert sentences[0].startswith(
        f"most notes are about {abs(cents):.0f} cents {side}: measure the harp, or set A4 = {a4} Hz"
    )
    assert sum("measure the harp" in sentence for sentence in sentences) == 1
    assert all(f"cents {side}, like most notes" in sentence for sentence in sentences[1:])
    assert not any("bent by accident" in sentence for sentence in sentences)


def test_a_fault_of_its_own_is_still_named() -> None:
    marks = marks_of(15.0, _3=Fault(cents=-30.0))
    assert "like most" not in marks[3].sentence
    assert marks[3].sentence.startswith("30 cents flat")


def test_a_few_flat_notes_are_no_matter_of_the_harp() -> None:
    marks = marks_of(0.0, _1=Fault(cents=-15.0), _3=Fault(cents=-15.0))
    assert not any("most notes" in mark.sentence for mark in marks)


def test_where_the_harp_is_unknown_only_what_bends_can_be_bent() -> None:
    step = parse_tab("4:1", None).steps[0]
    flat = Measured(start=0, end=1, cents=-30.0, scoop_cents=-30.0, settle_ms=0.0, holes=(4,))
    assert "bent" not in mark_sentence(step, flat, {"pitch": 20.0})
