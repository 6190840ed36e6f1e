"""Recordings of a class that plays one drill, and the report of one student."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from tests.support import shelf
from trainer.drill import find_drill
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import PassEnded, Plan, ReadingHeard, run_take
from trainer.report.advice import advise
from trainer.report.student_page import StudentReport
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, RecordingSpec

HARP = Harp.of("C")
DRILL = find_drill("harbour-bell")
CLASS = {"marit": 0.0, "jorun": -28.0, "odger": 12.0}
FAULTS = {1: Fault(leak_db=-8.0), 4: Fault(cents=-31.0), 7: Fault(skip=True)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the recordings of a class; one of the files is not a recording."""
    made = tmp_path_factory.mktemp("class")
    for name, cents in CLASS.items():
        player = BuiltInPlayer(DRILL, Harp.of("C"), spec=PlayerSpec(faults={4: Fault(cents=cents)}))
        sound = np.concatenate([block.samples for block in player.blocks()])
        sf.write(made / f"{name}.wav", sound, player.rate)
    (made / "sigrid.wav").write_bytes(b"RIFF, she said")
    (made / "notes.txt").write_text("not a recording")
    return made


def plan(path: Path) -> Plan:
    return Plan(Harp.of("C"), RecordingSpec(path), drill=DRILL)


@pytest.fixture(scope="module")
def student_report(tmp_path_factory: pytest.TempPathFactory) -> StudentReport:
    path = tmp_path_factory.mktemp("report") / "a <b> & c.wav"
    player = BuiltInPlayer(DRILL, HARP, spec=PlayerSpec(faults=FAULTS))
    sound = np.concatenate([block.samples for block in player.blocks()])
    sf.write(path, sound, player.rate)
    readings: list[Reading] = []
    results: list[Result] = []
    for event in run_take(Plan(HARP, RecordingSpec(path), drill=DRILL)):
        if isinstance(event, ReadingHeard):
            readings.append(event.reading)
        elif isinstance(event, PassEnded):
            results.append(event.result)
    (result,) = results
    work = advise(result, shelf.SHELF.drills)
    return StudentReport(result, HARP, readings, sound, player.rate, path.name, work)
