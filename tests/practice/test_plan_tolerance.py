"""A drill is played at the tolerance that its player has reached, and a saved take keeps it."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from trainer.app.session import Answer, Session
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import Command, Event, PassEnded, Plan, Request, run_take, saved_tolerance
from trainer.report.take_lines import plan_phrases
from trainer.sound import Fault, PlayerSpec, RecordingSpec
from trainer.store import Journal, TakeRecord

DRILL = parse_drill(
    'title = "Low tide"\nharp = "C"\ntempo = 120\ntab = "-4\':2 4:2"\n'
    "[tighten]\nfrom = 25\nby = 5\n[goal]\ntolerance = 10\n",
    "low-tide",
)
PLAN = Plan(Harp.of("C"), PlayerSpec(faults={0: Fault(cents=18.0)}), drill=DRILL, player="Marit")
NOW = datetime(2026, 5, 14, 18, tzinfo=UTC)
PASS = {"zero": 0, "tempo": 120, "first": 0, "last": 2, "begin": 0, "close": 9, "upto": 2}


class _Silent:
    """A listener that hears nothing."""

    def begin(self, plan: Plan) -> None: ...

    def poll(self) -> list[Event]:
        return []

    def ask(self, command: Command) -> None: ...

    def request(self, request: Request[Answer]) -> Future[Answer]:
        return Future()

    def stop(self) -> None: ...

    def close(self) -> None: ...


def tolerance_of(plan: Plan) -> float:
    drill = plan.at_present_tolerance().drill
    assert drill is not None
    return drill.goal.tolerance


def result_of(plan: Plan) -> Result:
    (result,) = (event.result for event in run_take(plan) if isinstance(event, PassEnded))
    return result


def add_pass(journal: Path, player: str = "Marit") -> None:
    result = result_of(replace(PLAN, source=PlayerSpec()).at_present_tolerance())
    assert result.passed
    with Journal(journal) as opened:
        opened.add(TakeRecord.of(result, PLAN.harp, player=player, began=NOW, source="microphone"))


def test_a_plan_takes_the_tolerance_from_the_journal(tmp_path: Path) -> None:
    journal = tmp_path / "journal.sqlite"
    plan = replace(PLAN, journal=journal)
    assert tolerance_of(PLAN) == tolerance_of(plan) == 25.0
    add_pass(journal)
    add_pass(journal, player="Jorun")
    assert tolerance_of(plan) == 20.0
    assert tolerance_of(plan.at_present_tolerance()) == 20.0
    assert tolerance_of(replace(plan, tolerance=12.5)) == 12.5
    journal.write_text("damaged")
    assert tolerance_of(plan) == 25.0


def test_the_app_narrows_it_after_a_pass(tmp_path: Path) -> None:
    journal = tmp_path / "journal.sqlite"
    session = Session(_Silent(), replace(PLAN, journal=journal))
    assert session.take.goal.tolerance == 25.0
    add_pass(journal)
    session.start(session.plan)
    assert session.take.goal.tolerance == 20.0


def test_the_head_shows_the_tolerance_of_a_drill_that_tightens() -> None:
    assert "±25" in plan_phrases(PLAN.at_present_tolerance(), 120.0)
    plain = replace(PLAN, drill=replace(DRILL, tightening=None))
    assert not any("±" in phrase for phrase in plan_phrases(plain, 120.0))
    other = replace(plain, tolerance=12.5).at_present_tolerance()
    assert "±12.5" in plan_phrases(other, 120.0)


def test_a_saved_take_is_marked_again_at_its_tolerance(tmp_path: Path) -> None:
    recording = tmp_path / "take.flac"
    played = result_of(replace(PLAN, save=recording, tolerance=20.0).at_present_tolerance())
    assert saved_tolerance(recording, DRILL) == 20.0
    assert saved_tolerance(recording, replace(DRILL, name="other")) is None
    plan = replace(PLAN, source=RecordingSpec(recording), tolerance=20.0)
    again = result_of(plan.at_present_tolerance())
    assert again.score == played.score
    assert again.marks == played.marks
    assert result_of(replace(plan, drill=DRILL, tolerance=None)).score < played.score


@pytest.mark.parametrize(
    ("tag", "expected"), [({}, 10.0), ({"tolerance": 20}, 20.0), ({"tolerance": "wide"}, 10.0)]
)
def test_a_take_saved_without_a_tolerance_was_played_at_the_narrowest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tag: dict[str, object], expected: float
) -> None:
    tags = {"drill": "low-tide", "passes": [PASS], **tag}
    monkeypatch.setattr("trainer.practice.passes._saved_tags", lambda recording: tags)
    assert saved_tolerance(tmp_path, DRILL) == expected
