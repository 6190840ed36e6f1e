"""Points lost per criterion and note, and the drill that trains it, on marks made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from trainer.core.quantities import quantity_text
from trainer.drill import Drill, parse_drill
from trainer.marking import Mark, Measured, Result
from trainer.report.advice import MAX_ADVICE, advise
from trainer.report.formatting import fill, harp_tag_text, score_text, signed_cents_text
from trainer.report.losses import Loss, losses

WEIGHTS = {"pitch": 3.0, "time": 1.0}


def drill_of(tab: str, **changes: object) -> Drill:
    drill = parse_drill(f'title = "x"\nharp = "C"\ntempo = 60\ntab = """\n{tab}\n"""\n', "x")
    return replace(drill, **changes)  # type: ignore[arg-type]


def test_losses_count_by_length_and_weight_and_add_up_per_note() -> None:
    steps = [
        ("-4", 1.0, {"pitch": 60.0, "time": 100.0}),
        ("4", 2.0, {"pitch": 100.0, "time": 50.0}),
        ("-4", 1.0, {"pitch": 80.0}),
    ]
    lost = losses(steps, WEIGHTS, 0.5)
    assert [(loss.criterion, loss.tab) for loss in lost] == [("pitch", "-4"), ("time", "4")]
    assert lost[0].points == pytest.approx(40.0 / 4 * 0.75 + 20.0 / 4)
    assert lost[1].points == pytest.approx(50.0 * 2 / 4 * 0.25)
    assert losses(steps, WEIGHTS, lost[1].points) == lost
    assert losses(steps, WEIGHTS, 10.0) == lost[:1]
    assert losses([], WEIGHTS) == []
    assert Loss("time", "4", 1.0).phrase == "4: time"


def test_the_easiest_of_the_drills_that_train_a_note_is_recommended() -> None:
    played = drill_of("-4:1 4:1 r:2", name="played", skills=("rhythm",), level=2)
    measured = Measured(start=0, late_ms=200.0)
    marks = tuple(
        Mark(step, 50.0, {"time": score}, measured, f"sentence {score:g}")
        for step, score in zip(played.steps, (20.0, 90.0), strict=True)
    )
    result = Result(played, "C", 60.0, marks, 50.0, False)
    shelf = [
        replace(played, title="the same drill", level=1),
        drill_of("-4:1 4:1 r:2", name="a", title="half the notes", skills=("rhythm",), level=1),
        drill_of("-4:1 -4:1 r:2", name="b", title="all notes, harder", skills=("rhythm",), level=3),
        drill_of("-4:1 -4:1 r:2", name="c", title="all notes", skills=("moves", "rhythm"), level=2),
        drill_of("-4:1 -4:1 r:2", name="d", title="another skill", skills=("moves",), level=1),
    ]
    (first,) = advise(result, shelf)
    assert first.focus == "Notes on the beat come 200 ms late."
    assert first.drill == "all notes"
    assert advise(result, shelf[-1:])[0].drill == ""
    assert advise(result, [])[0].drill == ""


def test_advice_quotes_the_worst_step_and_ends_after_three() -> None:
    played = drill_of("-4:1 -4:1 4:1 5:1 | 6:1 r:3")
    scores = (80.0, 10.0, 50.0, 40.0, 30.0)
    marks = tuple(
        Mark(step, score, {"pitch": score}, Measured(), f"sentence {score:g}")
        for step, score in zip(played.steps, scores, strict=True)
    )
    advice = advise(Result(played, "C", 60.0, marks, 50.0, False), [])
    assert len(advice) == MAX_ADVICE == 3
    assert [item.focus.split(" in ")[0] for item in advice] == ["-4", "6", "5"]
    assert "sentence 10." in advice[0].focus


@pytest.mark.parametrize(
    ("score", "text"), [(79.999, "79"), (80.0, "80"), (79.9999999999, "80"), (0.0, "0")]
)
def test_a_score_is_never_rounded_up_to_a_pass_mark(score: float, text: str) -> None:
    assert score_text(score) == text


def test_texts_of_values() -> None:
    assert [quantity_text(number, "bar") for number in (0, 0.5, 1, 2)] == [
        "0 bars",
        "0.5 bars",
        "1 bar",
        "2 bars",
    ]
    assert [signed_cents_text(cents) for cents in (-0.04, 0.06, -3.25, 12.0)] == [
        "0.0",
        "+0.1",
        "-3.2",
        "+12.0",
    ]
    assert (harp_tag_text("C", "richter"), harp_tag_text("A", "solo")) == (
        "C",
        "A, solo",
    )
    lines = fill("word " * 20, 10, "- ", "  ").splitlines()
    assert lines[0].startswith("- word")
    assert all(line.startswith("  word") for line in lines[1:])
    assert 30 < max(map(len, lines)) <= 40


def test_a_recording_that_ends_early_is_not_told_to_mend_what_was_right() -> None:
    drill = drill_of("-4:1 -4:1 4:1 5:1 | 6:1 r:3")
    marks = tuple(
        Mark(step, 100.0, {"pitch": 100.0}, Measured(), "in tune, clean, in time")
        for step in drill.steps[:3]
    )
    (advice,) = advise(Result(drill, "C", 60.0, marks, 100.0, False), [])
    assert advice.focus == "3 of 5 steps were played."
