"""The torture runs, finds what is planted, and repeats it."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from devtools.torture import inputs, takes
from devtools.torture.mutation import mutate
from trainer.store import take_notices

QUICK = (inputs.drills, inputs.scores, inputs.settings, inputs.fields, takes.sleeps)


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
