"""The long run of all drills in all keys goes on where it was stopped."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks import points
from trainer.drill import find_drill


def test_a_run_plays_what_its_log_lacks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log, drill = tmp_path / "log.jsonl", find_drill("three-steps-ashore")
    (proof,) = points.proofs_in_keys([drill], ["low D"], log, 1)
    assert proof.holds
    assert proof.key == "low D"
    (aim,) = proof.missed
    assert aim == "cleanness of all notes"

    played: list[str] = []

    def prove(name: str, key: str) -> points.KeyProof:
        played.append(key)
        return replace(proof, key=key, score=50.0)

    class Here:
        """A pool of this process."""

        def __init__(self, _workers: int) -> None: ...
        def __enter__(self) -> Here:
            return self

        def __exit__(self, *_: object) -> None: ...

        map = staticmethod(map)

    monkeypatch.setattr(points, "prove_in_key", prove)
    monkeypatch.setattr(points, "ProcessPoolExecutor", Here)
    keys = ["low D", "F"]
    assert [each.holds for each in points.proofs_in_keys([drill], keys, log, 1)] == [True, False]
    assert played == ["F"]
    list(points.proofs_in_keys([drill], keys, log, 1))
    assert played == ["F", "F"]  # what did not hold is played again
    faster = replace(drill, tempo=drill.tempo + 1)
    list(points.proofs_in_keys([faster], keys, log, 1))
    assert played == ["F", "F", "low D", "F"]


def test_a_drill_is_not_played_where_a_harp_lacks_its_notes() -> None:
    assert not points.can_play(replace(find_drill("minor-third-on-three"), tuning="solo"), "C")


@pytest.mark.parametrize(
    ("text", "keys"), [("2", ("low C", "C")), ("lf, F#", ("low F", "F#")), ("all", points.KEYS)]
)
def test_keys_are_a_number_names_or_all(text: str, keys: tuple[str, ...]) -> None:
    assert points.read_keys(text) == keys
