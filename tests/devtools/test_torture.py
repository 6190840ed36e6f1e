"""The torture runs, finds what is planted, and repeats it."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from devtools.torture import inputs, sounds, takes
from devtools.torture.live import Memory
from devtools.torture.mutation import mutate
from devtools.torture.runner import Tally
from trainer.core.system import CAN_FORK
from trainer.store import take_notices

QUICK = (
    inputs.drills,
    inputs.scores,
    inputs.settings,
    inputs.fields,
    sounds.sounds,
    takes.sleeps,
)


def test_mutation_follows_chance() -> None:
    data = bytes(range(200))
    mutants = [mutate(data, Random(seed)) for seed in range(40)]
    assert mutants == [mutate(data, Random(seed)) for seed in range(40)]
    assert len(set(mutants)) > 35


@pytest.mark.parametrize("prepare", QUICK, ids=lambda prepare: prepare.__name__)
def test_a_few_trials_of_what_is_quick(tmp_path: Path, prepare: inputs.Preparation) -> None:
    trial = prepare(tmp_path)
    for number in range(2 if prepare in (takes.sleeps, inputs.fields) else 6):
        trial(Random(f"test {number}"))


def test_damaged_journals_are_read_or_restored(tmp_path: Path) -> None:
    trial = inputs.journals(tmp_path)
    assert [trial(Random(f"test {number}")) for number in range(4)].count(True) >= 1
    take_notices()


def test_a_tally_goes_on_where_it_stopped(tmp_path: Path) -> None:
    tally = Tally(tmp_path / "tally.json", seed=5)
    outcome = tally.of("drills")
    outcome.trials, outcome.next, outcome.failures = 7, 8, [(3, "it fell over")]
    tally.save()
    assert Tally(tmp_path / "tally.json", seed=9).of("drills") == outcome
    assert Tally(tmp_path / "tally.json", seed=9).seed == 5


@pytest.mark.skipif(not CAN_FORK, reason="copies of a process")
@pytest.mark.parametrize("prepare", [takes.lines, takes.listener], ids=lambda each: each.__name__)
def test_a_killed_take_is_kept(
    tmp_path: Path, prepare: inputs.Preparation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(takes, "FRESH", 0.0)
    assert prepare(tmp_path)(Random("test 1"))


def test_memory_that_settles_has_not_grown() -> None:
    rows = [(10.0 * i, 150.0 + min(i, 20)) for i in range(200)]
    assert Memory("app", rows).growth_mb() == 0.0
    assert Memory("app", [(s, s / 100.0) for s, _ in rows]).growth_mb() > 10.0
