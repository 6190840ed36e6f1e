"""Commands that mark recordings take the same options, and mark by the same plan."""

from __future__ import annotations

from dataclasses import fields
from inspect import signature
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from trainer.cli.mark import mark
from trainer.cli.recording_options import RecordingOptions
from trainer.cli.report import report
from trainer.drill import find_drill
from trainer.practice import Plan


def test_report_takes_the_options_by_which_mark_marks() -> None:
    how = {field.name for field in fields(RecordingOptions)} - {"player", "is_class"}
    for command in (mark, report):
        assert how <= set(signature(command).parameters)
    for name in how:
        options = (signature(command).parameters[name] for command in (mark, report))
        assert len({(option.annotation, repr(option.default)) for option in options}) == 1


def test_report_marks_by_the_plan_of_its_options(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "take.wav"
    sf.write(path, np.zeros(48_000), 48_000)
    plans: list[Plan] = []

    class MarkedError(Exception):
        """The plan is known; nothing needs to be marked."""

    def remember(plan: Plan, **_: object) -> None:
        plans.append(plan)
        raise MarkedError

    monkeypatch.setattr("trainer.cli.plain.console_events", remember)
    with pytest.raises(MarkedError):
        report(path, "harbour-bell", tempo=80.0, a4=442.0, click=True, as_played=True, start=0.5)
    drill = find_drill("harbour-bell")
    options = RecordingOptions(a4=442.0, tempo=80.0, click=True, as_played=True, start=0.5)
    (plan,) = plans
    assert plan == options.plan(path, drill)[0]
    assert (plan.tempo, plan.click, plan.as_played, plan.start) == (80.0, True, True, 0.5)
    assert plan.harp.a4 == 442.0
