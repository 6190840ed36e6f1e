"""The sound of takes: kept within its limit, never at the cost of what is worth more."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest

from tests.support import journal_records as made
from trainer.sound import Block, Recording, TakeWriter
from trainer.store import Journal, JournalError, TakeRecord
from trainer.store.audio import (
    audio_folder,
    audio_path,
    copy_audio,
    enforce_audio_limit,
    list_audio,
    store_audio,
)

SIZE = 1000
MB = SIZE / 1e6
"""The limit for one sound of a test."""


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "own" / "journal.sqlite")


def played(journal: Journal, number: int, score: float, drill: str = "slack-tide", **more: object):
    """A take that is in the journal, later than those of smaller numbers."""
    record = next(take for at, take in enumerate(made.numbered(number + 1)) if at == number)
    record = replace(
        record,
        player="Marit",
        drill=drill,
        score=score,
        **({"whole": True} | more),  # type: ignore[arg-type]
    )
    journal.add(record)
    return record


def flac(folder: Path, size: int = SIZE) -> Path:
    """A file of that size."""
    path = folder / "just-played.flac"
    path.write_bytes(os.urandom(size))
    return path


def with_sound(journal: Journal) -> set[str]:
    """Ids of the takes whose sound is there, and is known to be."""
    there = {take.id for take in journal.takes() if take.audio is not None}
    assert {sound.path.stem for sound in list_audio(journal) if sound.size} == there
    return there


def test_audio_moves_beside_the_journal(journal: Journal, tmp_path: Path) -> None:
    take, file = played(journal, 0, 70.0), flac(tmp_path)
    file.chmod(0o644)
    data = file.read_bytes()
    path = store_audio(journal, take.id, file, 1.0)
    assert path == tmp_path / "own" / "audio" / f"{take.id}.flac"
    assert path.read_bytes() == data
    assert not file.exists()
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.parent.stat().st_mode & 0o777 == 0o700
    kept = journal.take(take.id)
    assert kept == replace(take, audio=f"audio/{take.id}.flac")
    assert audio_path(journal, kept) == path
    (sound,) = list_audio(journal)
    assert (sound.path, sound.size, sound.since) == (path, SIZE, take.began.timestamp())
    assert [record.id for record in sound.takes] == [take.id]
    again = flac(tmp_path, 2 * SIZE)  # it takes the place of the first
    store_audio(journal, take.id, again, 1.0)
    assert [sound.size for sound in list_audio(journal)] == [2 * SIZE]


def test_the_oldest_is_deleted_first_and_the_best_of_each_drill_stays(
    journal: Journal, tmp_path: Path
) -> None:
    def keep_one(number: int, score: float, drill: str, **more: object) -> TakeRecord:
        take = played(journal, number, score, drill, **more)
        store_audio(journal, take.id, flac(tmp_path), 4 * MB)
        return take

    best = keep_one(0, 95.0, "slack-tide")
    worse = keep_one(1, 60.0, "slack-tide")
    other = keep_one(2, 50.0, "mole-lights")
    # A part of a drill that went well is not the best of it.
    part = keep_one(3, 99.0, "slack-tide", whole=False)
    assert with_sound(journal) == {best.id, worse.id, other.id, part.id}

    now = keep_one(4, 70.0, "slack-tide")
    assert with_sound(journal) == {best.id, other.id, part.id, now.id}
    second = keep_one(5, 71.0, "slack-tide")
    assert with_sound(journal) == {best.id, other.id, now.id, second.id}
    better = keep_one(6, 80.0, "mole-lights")
    assert with_sound(journal) == {best.id, now.id, second.id, better.id}  # other is no best now
    third = keep_one(7, 10.0, "slack-tide")
    fourth = keep_one(8, 11.0, "slack-tide")
    assert with_sound(journal) == {best.id, better.id, third.id, fourth.id}
    assert len(journal.takes()) == 9  # the takes are all there


def test_a_byte_beyond_the_limit_deletes_a_file_and_none_beyond_it_does_not(
    journal: Journal, tmp_path: Path
) -> None:
    for number in range(2):
        take = played(journal, number, 50.0 + number, "slack-tide")
        store_audio(journal, take.id, flac(tmp_path), 4 * MB)
    assert enforce_audio_limit(journal, 2 * SIZE / 1e6) == []
    assert len(enforce_audio_limit(journal, (2 * SIZE - 1) / 1e6)) == 1


def test_no_drill_loses_its_best_before_worse_ones(journal: Journal, tmp_path: Path) -> None:
    rng = Random(11)
    for number in range(12):
        take = played(journal, number, rng.uniform(0, 100), rng.choice(["a", "b", "c"]))
        store_audio(journal, take.id, flac(tmp_path, rng.randrange(1, SIZE)), 20 * MB)
    for tenth in range(60, 0, -2):
        before = {take.id: take for take in journal.takes() if take.audio}
        enforce_audio_limit(journal, tenth / 10 * MB, rng.choice([None, *before]))
        left = [before[id_] for id_ in with_sound(journal)]
        assert sum(sound.size or 0 for sound in list_audio(journal)) <= tenth / 10 * SIZE
        for take in left:
            best = max(
                (record for record in before.values() if record.drill == take.drill),
                key=lambda record: record.score,
            )
            assert best in left


def test_among_best_takes_that_of_another_drill_is_deleted(
    journal: Journal, tmp_path: Path
) -> None:
    drills = ("slack-tide", "mole-lights", "harbour-bell")
    takes = [played(journal, number, 90.0, drill) for number, drill in enumerate(drills)]
    for take in takes:
        store_audio(journal, take.id, flac(tmp_path), 3 * MB)
    now = played(journal, 3, 20.0, "slack-tide")
    store_audio(journal, now.id, flac(tmp_path), 3 * MB)
    # What was played just now can be heard, and so can the best of the same drill.
    assert with_sound(journal) == {takes[0].id, takes[2].id, now.id}
    assert enforce_audio_limit(journal, 2 * MB, now.id) == [
        audio_folder(journal) / f"{takes[2].id}.flac"
    ]
    assert enforce_audio_limit(journal, 1 * MB, now.id) == [
        audio_folder(journal) / f"{now.id}.flac"
    ]
    assert with_sound(journal) == {takes[0].id}
    assert enforce_audio_limit(journal, 1 * MB) == []


def test_each_player_has_a_best(journal: Journal, tmp_path: Path) -> None:
    marit = played(journal, 0, 60.0)
    jorun = replace(made.take("b" * 32), player="Jorun", drill="slack-tide", score=90.0, whole=True)
    poor = played(journal, 2, 30.0)
    journal.add(jorun)
    for take in (marit, jorun, poor):
        store_audio(journal, take.id, flac(tmp_path), 3 * MB)
    enforce_audio_limit(journal, 2 * MB)
    assert with_sound(journal) == {marit.id, jorun.id}


def test_audio_larger_than_the_limit_stays_in_place(journal: Journal, tmp_path: Path) -> None:
    old, new = played(journal, 0, 70.0), played(journal, 1, 70.0)
    store_audio(journal, old.id, flac(tmp_path), 1.5)
    large = flac(tmp_path, 1_600_000)
    message = (
        r"has 1\.6 MB, more than the limit of 1\.5 MB for all audio \(journal\.audio_mb\); it stays"
    )
    with pytest.raises(JournalError, match=message):
        store_audio(journal, new.id, large, 1.5)
    assert large.stat().st_size == 1_600_000
    assert with_sound(journal) == {old.id}


def test_the_default_limit_comes_from_the_settings(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("[journal]\naudio_mb = 1.0\n")
    monkeypatch.setenv("TRAINER_SETTINGS", str(settings))
    take = played(journal, 0, 70.0)
    with pytest.raises(JournalError, match=r"has 1\.1 MB, more than the limit of 1 MB "):
        store_audio(journal, take.id, flac(tmp_path, 1_100_000))
    store_audio(journal, take.id, flac(tmp_path, 900_000))


def test_audio_that_cannot_be_stored_is_reported(journal: Journal, tmp_path: Path) -> None:
    take, file = played(journal, 0, 70.0), flac(tmp_path)
    for id_, message in {
        "nobody": "no take has an id that begins with 'nobody'",
        take.id[:8]: f"the journal .* has no take '{take.id[:8]}'",
    }.items():
        with pytest.raises(JournalError, match=message):
            store_audio(journal, id_, file, 1.0)
    journal.add(made.take("../outside"))
    with pytest.raises(JournalError, match=r"has no take '\.\./outside'$"):
        store_audio(journal, "../outside", file, 1.0)
    with pytest.raises(JournalError, match=rf"the audio file {tmp_path}/nowhere\.flac"):
        store_audio(journal, take.id, tmp_path / "nowhere.flac", 1.0)
    audio_folder(journal).write_text("in the way")
    with pytest.raises(
        JournalError, match="cannot be moved into the journal: a file is in the place of"
    ):
        store_audio(journal, take.id, file, 1.0)
    assert file.stat().st_size == SIZE
    assert journal.take(take.id).audio is None


def test_audio_from_another_disk_is_complete(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """/dev/shm is another disk where it is; and nothing is left behind where copying fails."""
    take = played(journal, 0, 70.0)
    elsewhere = Path("/dev/shm")
    if elsewhere.is_dir() and elsewhere.stat().st_dev != tmp_path.stat().st_dev:
        file = elsewhere / f"{take.id}-just-played.flac"
        file.write_bytes(data := os.urandom(SIZE))
    else:
        file = flac(tmp_path)
        data = file.read_bytes()
    path = store_audio(journal, take.id, file, 1.0)
    assert path.read_bytes() == data
    assert path.stat().st_mode & 0o777 == 0o600
    assert not file.exists()
    assert os.listdir(path.parent) == [path.name]


# --- what a kill, a player or another copy leaves behind ------------------------------------


def test_an_unlinked_file_is_linked_to_its_take(journal: Journal, tmp_path: Path) -> None:
    lost, take = played(journal, 0, 70.0), played(journal, 1, 70.0)
    audio_folder(journal).mkdir()
    flac(tmp_path).rename(audio_folder(journal) / f"{lost.id}.flac")  # killed just here
    store_audio(journal, take.id, flac(tmp_path), 1.0)
    assert with_sound(journal) == {lost.id, take.id}


def test_files_without_a_take_are_deleted_first_and_others_never(
    journal: Journal, tmp_path: Path
) -> None:
    folder = audio_folder(journal)
    folder.mkdir()
    names = ["a" * 32 + ".flac", "b" * 32 + ".flac", "my-own-song.flac", "cover.png"]
    for age, name in enumerate(names):
        flac(tmp_path).rename(folder / name)
        os.utime(folder / name, (0, 1000 - age))
    half = folder / f"{'c' * 32}.flac.0123abcd.part"
    fresh = folder / f"{'d' * 32}.flac.0123abcd.part"
    for part in (half, fresh):
        part.write_bytes(b"half")
    os.utime(half, (0, time.time() - 2 * 86_400))
    record, two = played(journal, 0, 70.0), played(journal, 1, 80.0)
    store_audio(journal, record.id, flac(tmp_path), 3 * MB)
    assert [sound.path.name for sound in list_audio(journal) if not sound.takes] == names[1::-1]
    store_audio(journal, two.id, flac(tmp_path), 3 * MB)
    assert [sound.path.name for sound in list_audio(journal) if not sound.takes] == names[:1]
    store_audio(journal, two.id, flac(tmp_path), 2 * MB)
    left = {path.name for path in folder.iterdir()}
    assert left == {*names[2:], fresh.name, f"{record.id}.flac", f"{two.id}.flac"}


def test_missing_audio_is_reported_and_counts_nothing(journal: Journal, tmp_path: Path) -> None:
    record, two = played(journal, 0, 70.0), played(journal, 1, 60.0)
    store_audio(journal, record.id, flac(tmp_path), 1.0).unlink()
    store_audio(journal, two.id, flac(tmp_path), MB)
    gone = journal.take(record.id)
    assert [sound.size for sound in list_audio(journal)] == [None, SIZE]
    message = rf"audio of the take {record.id[:8]} .* is missing: {tmp_path}/own/audio/.* restore"
    with pytest.raises(JournalError, match=message):
        audio_path(journal, gone)
    with pytest.raises(
        JournalError, match="has no audio: it was not kept, or was deleted to make room; set"
    ):
        audio_path(journal, record)


def test_a_record_cannot_point_outside_the_folder(journal: Journal, tmp_path: Path) -> None:
    take = played(journal, 0, 70.0)
    secret = flac(tmp_path)
    for audio in (str(secret), "../../just-played.flac", "", ".."):
        journal.set_audio(take.id, audio)
        with pytest.raises(JournalError, match="is missing"):
            audio_path(journal, journal.take(take.id))
        enforce_audio_limit(journal, 0.0)
    assert secret.exists()


def test_a_copy_is_complete_and_overwrites_nothing(journal: Journal, tmp_path: Path) -> None:
    take = played(journal, 0, 70.0)
    path = store_audio(journal, take.id, flac(tmp_path), 1.0)
    take = journal.take(take.id)
    copy_audio(journal, take, tmp_path / "copy.flac")
    assert (tmp_path / "copy.flac").read_bytes() == path.read_bytes()
    (tmp_path / "copy.flac").write_text("mine")
    with pytest.raises(JournalError, match="exists already; choose another name"):
        copy_audio(journal, take, tmp_path / "copy.flac")
    assert (tmp_path / "copy.flac").read_text() == "mine"
    with pytest.raises(JournalError, match=f"the folder {tmp_path}/nowhere does not exist"):
        copy_audio(journal, take, tmp_path / "nowhere" / "copy.flac")


def test_a_saved_take_is_read_back_from_the_journal(journal: Journal, tmp_path: Path) -> None:
    take = played(journal, 0, 70.0)
    writer = TakeWriter(tmp_path / "take.flac", 8000)
    wave = np.sin(np.arange(8000) / 3.0).astype(np.float32) / 2
    writer.write(Block(0, wave, 8000))
    writer.close({"drill": "slack-tide"})
    store_audio(journal, take.id, tmp_path / "take.flac", 1.0)
    recording = Recording(audio_path(journal, journal.take(take.id)))
    assert recording.tags == {"drill": "slack-tide"}
    assert sum(len(block.samples) for block in recording.blocks()) == 8000
