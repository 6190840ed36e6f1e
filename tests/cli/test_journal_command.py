"""``trainer journal``, and takes as text."""

from __future__ import annotations

import csv
import io
import json
import re
import shlex
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile as sf

from tests.support import journal_records as made
from tests.support.command_line import Answer, runner
from tests.support.pulse import SINK, Pulse
from tests.support.waiting import wait_until
from trainer.cli.exit_codes import ExitCode
from trainer.report.journal_report import short_ids, take_text, takes_text
from trainer.store import HarpTag, Journal, JournalError, store_audio

RATE = 48_000


Trainer = Callable[[str], Answer]


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the player's journal is."""
    path = tmp_path / "own" / "journal.sqlite"
    monkeypatch.setenv("TRAINER_JOURNAL", str(path))
    monkeypatch.setenv("TZ", "Europe/Oslo")
    time.tzset()
    monkeypatch.chdir(tmp_path)
    return path


@pytest.fixture
def trainer(
    path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Trainer:
    """Runs a command in this process, as ``trainer journal WORDS`` would."""
    run = runner(monkeypatch, capfd, "journal")
    return lambda words: run(*shlex.split(words))


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    """The player's journal, open all the while, with some takes."""
    with Journal(path) as journal:
        journal.add(*made.numbered(12))
        journal.add_harp(made.harp(1))
        journal.add_calibration(made.calibration(1))
        yield journal


def widest(text: str) -> int:
    return max(map(len, text.splitlines()))


# --- lists and takes ------------------------------------------------------------------------


def test_takes_are_listed_the_latest_last(trainer: Trainer, journal: Journal) -> None:
    takes = journal.takes()
    head, *rows = trainer("list").out.splitlines()
    assert head.split() == ["id", "began", "player", "drill", "harp", "mark"]
    assert len(rows) == len(takes)
    for row, take in zip(rows, takes, strict=True):
        assert row.startswith(f"{take.id[:8]}  {take.day} ")
        assert f"  {take.player}  " in row
        assert ("passed" in row, "part" in row) == (take.passed, not take.whole)
    # In Oslo's summer, two hours after UTC.
    assert rows[0].split()[1:3] == ["2026-09-01", "19:00"]
    assert widest(trainer("list").out) <= 80


def test_a_list_can_be_narrowed_and_is_json_for_programs(
    trainer: Trainer, journal: Journal
) -> None:
    day = journal.takes()[3].day
    answer = trainer(f"list --player Marit --drill slack-tide --since {day} --format json")
    wanted = [
        take
        for take in journal.takes()
        if (take.player, take.drill) == ("Marit", "slack-tide") and take.day >= day
    ]
    assert [take["id"] for take in answer.data] == [take.id for take in wanted]
    assert wanted
    assert answer.data[0]["harp"]["key"] == wanted[0].harp.key
    assert "steps" not in answer.data[0]
    assert "player" not in trainer("list --player Marit").out.splitlines()[0]
    assert trainer("list --drill nowhere").out == "There are no takes.\n"
    nobody = trainer("list --player Nils")
    assert (nobody.code, nobody.out) == (ExitCode.BAD_INPUT, "")
    assert "no player 'Nils' in the journal" in nobody.err
    assert trainer("list --since yesterday").code == ExitCode.USAGE


def test_a_wide_list_cuts_the_drills_name() -> None:
    entry = replace(
        made.take("5a" * 16),
        drill="a-drill-whose-name-goes-on-and-on-beyond-the-end-of-the-line",
        whole=False,
        passed=True,
        audio="audio/x.flac",
    )
    other = replace(entry, id="6b" * 16, player="the whole evening class", harp=HarpTag("low F"))
    wide = replace(other, harp=HarpTag("C", name="x" * 60))
    for takes in ([entry], [entry, other], [entry, wide]):
        text = takes_text(takes)
        assert widest(text) <= 80
        assert re.search(r"  a-drill\S*…  ", text)
        assert re.search(r"passed, part, sound$", text.splitlines()[1])
    near = replace(entry, id="5a" * 6 + "6b" * 10)
    assert short_ids([entry, near]) == {take.id: take.id[:13] for take in (entry, near)}


def test_a_take_is_shown_with_its_sentences(trainer: Trainer, journal: Journal) -> None:
    for take in journal.takes():
        answer = trainer(f"show {take.id[:8]}")
        assert answer.code == 0
        assert widest(answer.out) <= 80
        lines = answer.out.splitlines()
        assert lines[0].startswith(f"{take.title} ({take.drill}), ")
        assert lines[1].startswith(f"{take.player}, {take.day} ")
        assert lines[2] == "step  tab     mark  why"
        for step, line in zip(take.steps, lines[3:], strict=False):
            assert line == (
                f"{step.index + 1:>3}  {step.tab:<8} {int(step.score):>3}  {step.sentence}"
            )
        weakest = min(take.steps, key=lambda step: step.score)
        assert f"weakest: step {weakest.index + 1} ({weakest.tab})" in " ".join(answer.out.split())
        data = trainer(f"show {take.id} --format json").data
        assert data["steps"][0]["parts"] == dict(take.steps[0].parts)
        assert (data["id"], data["score"]) == (take.id, take.score)
    assert "no take has an id that begins with 'zz'" in trainer("show zz").err


def test_long_sentences_and_names_stay_within_the_width() -> None:
    step = made.take("x").steps[0]
    long = replace(step, sentence="too flat at first, then wavering, " * 9, tab="-3'''>-3")
    entry = replace(
        made.take("x"),
        steps=(long, replace(step, index=1)),
        extras=("a 5 that nothing asked for, after step 2, of some length, " * 3,),
        title="A title of very many words that goes on " * 2,
        whole=False,
        audio="audio/x.flac",
    )
    text = take_text(entry)
    assert widest(text) <= 80
    assert " ".join(long.sentence.split()) in " ".join(text.split())
    assert "a part of the drill" in " ".join(text.split())
    assert widest(take_text(entry, 50)) <= 50
    assert take_text(replace(entry, steps=(), audio=None)).endswith("a part of the drill.")


# --- elsewhere and back ---------------------------------------------------------------------


def test_export_and_import(trainer: Trainer, journal: Journal, path: Path, tmp_path: Path) -> None:
    lines = trainer("export")
    assert [json.loads(line).get("kind") for line in lines.out.splitlines()] == [
        None,
        *["take"] * 12,
        "harp",
        "calibration",
    ]
    assert trainer("export --out all.jsonl").out == "Wrote all.jsonl.\n"
    assert (tmp_path / "all.jsonl").read_text(encoding="utf-8") == lines.out
    table = trainer("export --format csv --player Marit").out
    assert {row["player"] for row in csv.DictReader(io.StringIO(table))} == {"Marit"}
    trainer("export --player Marit --out marit.csv")
    assert (tmp_path / "marit.csv").read_text(encoding="utf-8") == table
    assert "exists already" in trainer("export --out all.jsonl").err

    again = trainer("import all.jsonl marit.csv")
    count = len(journal.takes(player="Marit"))
    assert again.out == (
        "all.jsonl: 12 takes of Jorun, Marit, Ødger, none new; 1 measured harp, none new;\n"
        "  1 round trip, none new\n"
        f"marit.csv: {count} takes of Marit, none new\n"
    )


def test_a_bad_file_does_not_keep_others_out(
    trainer: Trainer, journal: Journal, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trainer("export --player Marit --out marit.jsonl")
    trainer("export --player Jorun --out jorun.jsonl")
    with (tmp_path / "marit.jsonl").open("a") as file:
        file.write('{"kind": "take"}\n')
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "teacher.sqlite"))
    answer = trainer("import marit.jsonl jorun.jsonl --as Astrid")
    assert answer.code == ExitCode.BAD_INPUT
    count = len(journal.takes(player="Jorun"))
    assert answer.out == f"jorun.jsonl: {count} takes of Astrid, {count} new\n"
    line = len(journal.takes(player="Marit")) + 3
    assert answer.err == (
        f"marit.jsonl:{line}: 'id' is missing\n"
        "nothing of marit.jsonl was imported; correct it, or export it again\n"
    )
    with Journal(tmp_path / "teacher.sqlite") as teacher:
        assert teacher.players() == ["Astrid"]


def test_a_backup_is_a_journal(
    trainer: Trainer, journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert trainer("backup copy.sqlite").out == "Wrote copy.sqlite.\n"
    assert trainer("backup copy.sqlite").code == ExitCode.BAD_INPUT
    listed = trainer("list").out
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "copy.sqlite"))
    assert trainer("list").out == listed


def test_where_it_is(trainer: Trainer, journal: Journal, path: Path, tmp_path: Path) -> None:
    for take in journal.takes()[:2]:
        (tmp_path / "x.flac").write_bytes(bytes(250_000))
        kept = store_audio(journal, take.id, tmp_path / "x.flac", 10)
    kept.unlink()
    (kept.parent / f"{'0' * 32}.flac").write_bytes(b"odd")
    data = trainer("where --format json").data
    takes = journal.takes()
    assert (data["path"], data["takes"], data["harps"]) == (str(path), 12, 1)
    assert data["file_bytes"] > 50_000
    assert [entry["player"] for entry in data["players"]] == journal.players()
    marit = next(entry for entry in data["players"] if entry["player"] == "Marit")
    days = [str(take.day) for take in takes if take.player == "Marit"]
    assert marit == {
        "player": "Marit",
        "takes": len(days),
        "days": len(set(days)),
        "first": days[0],
        "last": days[-1],
        "harps": ["old C"],
    }
    assert data["sounds"] == 1
    assert data["sounds_missing"] == [takes[1].id]
    assert len(data["sounds_of_no_take"]) == 1
    text = trainer("where").out
    first, *rest = text.splitlines()
    assert first == str(path)
    assert max(map(len, rest)) <= 80
    assert "12 takes, 1 own harp, 1 measured round trip." in text
    assert f"  Marit: {len(days)} takes on 2 days, {days[0]} to {days[-1]}; harps: old C" in text
    assert f"Missing audio: {takes[1].id[:8]}." in text


def test_a_missing_journal_is_not_created(trainer: Trainer, path: Path) -> None:
    assert trainer("where").out == (
        f"{path}\nThere is no journal yet; the first take that is played begins it.\n"
    )
    assert trainer("where --format json").data == {"path": str(path), "exists": False}
    for command in ("list", "show a", "export", "backup copy.sqlite", "replay a"):
        answer = trainer(command)
        assert answer.code == ExitCode.BAD_INPUT
        assert answer.err == (
            f"the journal {path} does not exist yet; your first take creates it\n"
        )
    assert not path.exists()


def test_the_file_is_that_of_the_settings(
    trainer: Trainer, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TRAINER_JOURNAL")
    (tmp_path / "settings.toml").write_text(f'[journal]\nfile = "{tmp_path}/mine.sqlite"\n')
    monkeypatch.setenv("TRAINER_SETTINGS", str(tmp_path / "settings.toml"))
    assert trainer("where").out.startswith(f"{tmp_path}/mine.sqlite\n")


# --- beside another copy --------------------------------------------------------------------


def test_commands_work_while_another_process_writes(
    trainer: Trainer, journal: Journal, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    take = journal.takes()[0]
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE takes SET title = 'half done'")
        for command in (
            "list",
            f"show {take.id}",
            "where",
            "export",
            "export --out all.jsonl",
            "backup copy.sqlite",
        ):
            answer = trainer(command)
            assert (answer.code, answer.err) == (0, ""), command
            assert "half done" not in answer.out
        monkeypatch.setattr("trainer.store.database.LOCK_TIMEOUT_S", 0.2)
        late = trainer("import all.jsonl")
        assert late.code == ExitCode.BAD_INPUT
        assert "another copy of the trainer is using it; close that one, or try again" in late.err
        other.execute("ROLLBACK")
    assert trainer("import all.jsonl").code == 0


# --- hearing it again -----------------------------------------------------------------------


def a_sound(path: Path, seconds: float = 1.0) -> Path:
    """A tone of 623.7 Hz in FLAC."""
    wave = 0.3 * np.sin(2 * np.pi * 623.7 * np.arange(round(seconds * RATE)) / RATE)
    sf.write(path, wave, RATE, subtype="PCM_24", format="FLAC")
    return path


def test_missing_audio_is_reported(trainer: Trainer, journal: Journal) -> None:
    take = journal.takes()[0]
    for more in ("", " --to copy.flac"):
        answer = trainer(f"replay {take.id[:8]}{more}")
        assert answer.code == ExitCode.BAD_INPUT
        assert answer.err == (
            f"the take {take.id[:8]} ({take.title}, {take.day}) has no audio: it was not kept, or "
            "was deleted to make room; set journal.keep_audio to keep the audio of takes\n"
        )


def test_audio_can_be_copied(trainer: Trainer, journal: Journal, tmp_path: Path) -> None:
    take = journal.takes()[0]
    store_audio(journal, take.id, a_sound(tmp_path / "x.flac"), 10)
    assert trainer(f"replay {take.id[:8]} --to copy.flac").out == "Wrote copy.flac.\n"
    assert sf.info(tmp_path / "copy.flac").frames == RATE
    assert "exists already" in trainer(f"replay {take.id[:8]} --to copy.flac").err


def test_a_missing_loudspeaker_is_reported(
    trainer: Trainer, journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from types import ModuleType, SimpleNamespace

    none = ModuleType("sounddevice")
    none.query_hostapis = list  # type: ignore[attr-defined]
    none.query_devices = list  # type: ignore[attr-defined]
    none.default = SimpleNamespace(device=(-1, -1))  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "sounddevice", none)
    take = journal.takes()[0]
    store_audio(journal, take.id, a_sound(tmp_path / "x.flac"), 10)
    answer = trainer(f"replay {take.id[:8]}")
    assert answer.code == ExitCode.NO_SOUND
    assert "this computer has no loudspeaker or other output" in answer.err


WINDOW = 240
"""Samples of a window in which a recording is loud or not."""


def recorded(file: Path) -> npt.NDArray[np.float64]:
    """Samples of a raw recording that may still be running, shape (n,)."""
    return np.frombuffer(file.read_bytes()[: file.stat().st_size // 2 * 2], "<i2") / 32768.0


def loud(sound: npt.NDArray[np.float64]) -> npt.NDArray[np.intp]:
    """Which samples are loud."""
    return np.flatnonzero(np.abs(sound) > 0.05)


def has_ended(sound: npt.NDArray[np.float64]) -> bool:
    """Whether loud samples were followed by 0.3 s of silence."""
    return len(loud(sound)) > 0 and len(sound) - loud(sound)[-1] > 0.3 * RATE


@pytest.mark.needs_pulse
def test_audio_is_played_whole_and_can_be_stopped(
    pulse: Pulse,
    journal: Journal,
    path: Path,
    tmp_path: Path,
) -> None:
    take = journal.takes()[0]
    store_audio(journal, take.id, a_sound(tmp_path / "x.flac", 2.0), 10)
    heard = tmp_path / "heard.s16"
    listen = ["parec", f"--device={SINK}.monitor", "--channels=1", f"--rate={RATE}"]
    listen += ["--raw", "--format=s16le", "--latency-msec=500", str(heard)]
    env = pulse.env | {"TRAINER_JOURNAL": str(path)}
    command = [sys.executable, "-m", "trainer", "journal", "replay", take.id[:8]]

    listener = subprocess.Popen(listen, env=env)
    done = subprocess.run(command, env=env, capture_output=True, text=True, timeout=120)
    wait_until(lambda: has_ended(recorded(heard)), "the sound has ended")
    listener.terminate()
    listener.wait(10)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{take.title}, {take.player}, {take.day}\n"
    # A busy machine may interrupt the stream: pauses of it are no part of the sound.
    windows = recorded(heard)
    windows = windows[: len(windows) // WINDOW * WINDOW].reshape(-1, WINDOW)
    sounding = np.sqrt(np.mean(windows**2, axis=1)) > 0.05
    assert np.sum(sounding) * WINDOW / RATE == pytest.approx(2.0, abs=0.05)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], sounding, [0]))))
    first, last = max(zip(edges[::2], edges[1::2], strict=True), key=lambda run: run[1] - run[0])
    played = windows[first + 1 : last - 1].ravel()
    spectrum = np.abs(np.fft.rfft(played * np.hanning(len(played)), 4 * RATE))
    assert np.argmax(spectrum) / 4 == pytest.approx(623.7, abs=1.0)
    assert np.sqrt(np.mean(played**2)) == pytest.approx(0.3 / np.sqrt(2), rel=0.05)

    store_audio(journal, take.id, a_sound(tmp_path / "x.flac", 20.0), 10)
    heard.unlink()
    listener = subprocess.Popen(listen, env=env)
    process = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
    assert process.stdout
    assert process.stdout.readline().startswith(take.title)
    wait_until(lambda: heard.exists() and len(loud(recorded(heard))), "the sound is heard")
    stopped = time.monotonic()
    process.send_signal(signal.SIGINT)
    assert process.communicate(timeout=120)[0] == "Stopped.\n"
    assert process.returncode == 0
    assert time.monotonic() - stopped < 15.0  # it would go on for almost 20 s
    listener.terminate()
    listener.wait(10)


def test_journal_errors_are_errors_that_players_see(path: Path) -> None:
    from trainer.core import TrainerError

    path.parent.mkdir()
    path.write_text("Dear journal, " * 100)
    with pytest.raises(TrainerError) as error:
        Journal(path)
    assert isinstance(error.value, JournalError)
