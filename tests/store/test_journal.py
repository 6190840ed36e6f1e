"""The journal under what may happen to it: kills, full disks, other copies, damage, the years."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from random import Random

import pytest

from tests.support import journal_records as made
from tests.support.waiting import wait_until
from trainer.store import (
    Focus,
    Journal,
    JournalError,
    MergeCounts,
    Placement,
    flush_journal,
    journal_path,
    repair,
    schema,
    take_notices,
)
from trainer.store import database as opening

TESTS = Path(__file__).parent.parent
DUMPS = sorted((TESTS / "journals").glob("version-*.sql"))
NOBODY = 65_534


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "own" / "journal.sqlite"


# --- what is kept comes back ----------------------------------------------------------------


def test_records_survive_a_round_trip(path: Path) -> None:
    takes = list(made.numbered(30))
    with Journal(path) as journal:
        assert journal.add(*reversed(takes)) == 30
        journal.add_harp(made.harp(1))
        journal.add_calibration(made.calibration(1))
        journal.save_daily_set("Marit", takes[0].day, 20.0, [{"drill": "slack-tide"}])
    with Journal(path) as journal:
        assert journal.takes() == takes  # in the order in which they were played
        assert [journal.take(take.id[:12]) for take in takes] == takes
        assert journal.harps("Marit") == [made.harp(1)]
        assert journal.harps("Jorun") == []
        assert journal.calibrations() == [made.calibration(1)]
        assert journal.day("Marit", takes[0].day) == (20.0, [{"drill": "slack-tide"}])
        assert journal.players() == sorted({take.player for take in takes} | {"Marit"})


def test_takes_are_found_by_player_drill_and_day(path: Path) -> None:
    takes = list(made.numbered(60))
    day = takes[30].day
    with Journal(path) as journal:
        journal.add(*takes)
        matches = journal.takes(player="Jorun", drill="slack-tide", since=day, until=takes[50].day)
    wanted = [
        take
        for take in takes
        if (take.player, take.drill) == ("Jorun", "slack-tide") and day <= take.day <= takes[50].day
    ]
    assert matches == wanted != []


def test_an_existing_take_is_left_unchanged(path: Path) -> None:
    entry, two = made.numbered(2)
    with Journal(path) as journal:
        assert journal.add(entry) == 1
        assert journal.add(made.take(entry.id, player="Somebody else"), two) == 1
        assert journal.takes() == [entry, two]


def test_takes_are_added_all_or_none(path: Path) -> None:
    entry, two = made.numbered(2)
    unfit = made.take(two.id, score=float("nan"))
    with Journal(path) as journal:
        with pytest.raises(JournalError, match=r"a record cannot be written .* takes\.score"):
            journal.add(entry, unfit)
        assert journal.takes() == []
        with pytest.raises(JournalError, match="a record cannot be written"):
            journal.add(entry, made.take(two.id, title="half a \ud83c character"))
        assert journal.add(entry, two) == 2


def on_the_disk(path: Path) -> set[str]:
    """The takes that the database holds without its log, which a loss of power may cost."""
    with closing(sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True)) as db:
        return {id_ for (id_,) in db.execute("SELECT id FROM takes")}


def test_takes_that_do_not_wait_for_the_disk_are_there_after_a_flush(path: Path) -> None:
    takes = list(made.numbered(600))
    with Journal(path) as journal:
        flush_journal(path)  # the tables
        for take in takes:
            journal.put(take)
        log = path.with_name(f"{path.name}-wal")
        assert log.stat().st_size > 1200 * 4096  # above the size from which commits copy it
        assert on_the_disk(path) == set()
        flush_journal(path)
        assert on_the_disk(path) == {take.id for take in takes}
        assert journal.add(*made.numbered(601)) == 1  # this waits for the disk
    assert on_the_disk(path) == {take.id for take in made.numbered(601)}


def test_a_flush_creates_no_journal(path: Path) -> None:
    path.parent.mkdir()
    flush_journal(path)
    assert not list(path.parent.iterdir())


def test_an_id_must_match_one_take(path: Path) -> None:
    with Journal(path) as journal:
        journal.add(made.take("ab"), made.take("abc"), made.take("b"))
        assert journal.take("ab").id == "ab"  # though it also begins another
        for beginning, reported in {
            "a": "more than one take has an id that begins with 'a'",
            "x": "no take has an id that begins with 'x'",
            "": "the id of a take is missing",
        }.items():
            with pytest.raises(JournalError, match=f"{reported}; 'trainer journal list' shows all"):
                journal.take(beginning)


def test_calibrations_of_another_computer_replace_none_of_this_one(path: Path) -> None:
    with Journal(path) as journal:
        first = journal.merge([], [made.harp(1)], [made.calibration(5), made.calibration(6)])
        assert first == MergeCounts(0, 1, 2)
        added = MergeCounts(0, 1, 0)
        assert journal.merge([], [made.harp(1), made.harp(2)], [made.calibration(7)]) == added
        assert journal.calibrations() == [made.calibration(5), made.calibration(6)]
        assert journal.harps() == [made.harp(1), made.harp(2)]


# --- kills ----------------------------------------------------------------------------------


class Nursery:
    """A process that starts writers with everything imported.

    Thus a second is enough to kill dozens of them.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from tests.support.journal_records import nursery; nursery()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(TESTS.parent)},
        )
        self._started = 0

    def writer(self, path: Path) -> Writer:
        """A new writer."""
        assert self.process.stdin
        assert self.process.stdout
        self._started += 1
        reported = self.folder / f"reported-{self._started}"
        reported.touch()
        self.process.stdin.write(f"{path}\t{reported}\n")
        self.process.stdin.flush()
        return Writer(int(self.process.stdout.readline()), reported)


@dataclass
class Writer:
    """A process that adds takes without end, and reports the id of each that was stored."""

    pid: int
    reported: Path

    def wait(self, takes: int) -> None:
        """Wait until it has stored `takes` takes."""
        wait_until(lambda: self.kept() >= takes, f"{takes} takes are stored")

    def kept(self) -> int:
        """Return the number of takes that it has stored."""
        return self.reported.read_text().count("\n")

    def kill(self) -> list[str]:
        """Kill it at any point; return the ids that it reported."""
        os.kill(self.pid, signal.SIGKILL)  # raises if it fell over before
        end = time.monotonic() + 20.0
        with contextlib.suppress(ProcessLookupError):
            while time.monotonic() < end:
                os.kill(self.pid, 0)
                time.sleep(0.001)
        return self.reported.read_text().split()


@pytest.fixture(scope="module")
def nursery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    """A running nursery."""
    running = Nursery(tmp_path_factory.mktemp("reported"))
    yield running
    running.process.communicate("")
    assert running.process.returncode == 0


def assert_sound(path: Path, reported: list[str]) -> int:
    """Check that a journal is intact and has the reported takes; return the number of its takes."""
    with Journal(path) as journal:
        kept = {take.id: take for take in journal.takes()}
    assert not set(reported) - set(kept)
    for id_, take in kept.items():
        assert take == made.take(id_), "half a take"
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        query = "SELECT count(*) FROM steps"
        assert db.execute(query).fetchone()[0] == sum(len(take.steps) for take in kept.values())
    return len(kept)


def test_a_killed_process_loses_no_finished_take(tmp_path: Path, nursery: Nursery) -> None:
    rng = Random(18)
    total = 0
    for number in range(4):
        path = tmp_path / f"{number}.sqlite"
        reported: list[str] = []
        # Each journal is killed from its first instant on, and again as it grows. With another
        # copy open, nobody starts afresh from the log; without, everybody does.
        other = Journal(path) if number % 2 else None
        for takes in (0, 1, 0, 2, 5, 1):
            writer = nursery.writer(path)
            writer.wait(takes)
            time.sleep(rng.uniform(0.0, 0.02))  # so that it is killed anywhere in its work
            reported += writer.kill()
            assert_sound(path, reported)
        if other:
            assert {take.id for take in other.takes(steps=False)} >= set(reported)
            other.close()
        total += len(reported)
    assert total >= 4 * 9


def test_two_writers_at_once_lose_nothing(path: Path, nursery: Nursery) -> None:
    writers = [nursery.writer(path), nursery.writer(path)]
    seen: set[str] = set()
    with Journal(path) as journal:

        def look_and_add() -> bool:
            """Look at all takes, add one, and return whether each writer has had its turn."""
            nonlocal seen
            takes = journal.takes()
            assert all(take == made.take(take.id) for take in takes if take.id not in seen)
            assert seen <= {take.id for take in takes}
            seen |= {take.id for take in takes}
            journal.add(made.take(os.urandom(16).hex()))  # a third writer
            return len(seen) > 40 and min(writer.kept() for writer in writers) > 3

        wait_until(look_and_add, "each writer has stored some takes")
    first, second = (writer.kill() for writer in writers)
    assert_sound(path, [*first, *second, *seen])


def test_many_processes_open_a_new_journal_at_once(tmp_path: Path, nursery: Nursery) -> None:
    for name in ("a.sqlite", "b.sqlite"):
        writers = [nursery.writer(tmp_path / name) for _ in range(4)]
        for writer in writers:
            writer.wait(1)
        assert_sound(tmp_path / name, [id_ for writer in writers for id_ in writer.kill()])


def test_opening_twice_in_one_process_keeps_the_locks(path: Path) -> None:
    """Where the process closes a file, POSIX drops all its locks on it, SQLite's too.

    Another copy would then take itself for the last one and delete the log under the first.
    """
    look = "import sys; from trainer.store import Journal; Journal(__import__('pathlib').Path("
    with Journal(path) as first:
        takes = [made.take(made.new_id(number)) for number in range(4)]
        first.add(takes[0])
        Journal(path).close()
        run(f"{look}sys.argv[1])).close()", path)
        first.add(*takes[1:])
        assert path.with_name(path.name + "-wal").exists()
        run(f"{look}sys.argv[1])).take('{takes[3].id}')", path)
    assert assert_sound(path, [take.id for take in takes]) == 4


def run(code: str, *words: object, before: tuple[str, ...] = ()) -> str:
    """Run Python in a process of its own; what it printed."""
    command = [*before, sys.executable, "-c", code, *map(str, words)]
    env = os.environ | {"PYTHONPATH": str(TESTS.parent)}
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, env=env)
    assert done.returncode == 0, done.stderr
    return done.stdout


# --- full disks, and folders that may not be written ----------------------------------------

FILL = """
import json, os, resource, subprocess, sys
from pathlib import Path
from tests.support import journal_records as made
from trainer.store import Journal, JournalError

folder, way = Path(sys.argv[1]), sys.argv[2]
path, filler = folder / "journal.sqlite", folder / "filler"
if way == "disk":
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", folder], check=True)
    filler.write_bytes(bytes(1_200_000))
else:
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, resource.RLIM_INFINITY))
journal, kept, answer = Journal(path), [], {}
try:
    while True:
        one = made.take(os.urandom(16).hex())
        journal.add(one)
        kept.append(one)
except JournalError as error:
    answer["add"] = str(error)
answer["there"] = {take.id for take in journal.takes()} == {take.id for take in kept}
if way == "disk":
    try:
        journal.copy_to(folder / "copy.sqlite")
    except JournalError as error:
        answer["copy"] = str(error)
answer["files"] = sorted(file.name for file in folder.iterdir())
if way == "disk":
    filler.unlink()
else:
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
answer["again"] = journal.add(one)
journal.close()
with Journal(path) as journal:
    answer["all"] = {take.id: take for take in journal.takes()} == {
        take.id: take for take in [*kept, one]
    }
    answer["check"] = journal._db.execute("PRAGMA integrity_check").fetchone()[0]
if way == "disk":
    (folder / "new").mkdir()
    try:
        while True:
            with filler.open("ab", buffering=0) as file:
                file.write(bytes(512))
    except OSError:
        pass
    try:
        Journal(folder / "new" / "journal.sqlite")
    except JournalError as error:
        answer["new"] = str(error)
print(json.dumps([answer, len(kept)]))
"""


def a_small_disk() -> tuple[str, ...] | None:
    """How a process is started that may mount a small disk of its own; None if none may."""
    for apart in (("unshare", "-m"), ("unshare", "-rm")):
        command = [*apart, "mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", "/mnt"]
        if shutil.which("unshare") and not subprocess.run(command, capture_output=True).returncode:
            return apart
    return None


SMALL_DISK = a_small_disk()


@pytest.mark.parametrize("way", ["limit", *["disk"] * (SMALL_DISK is not None)])
def test_a_full_disk_is_reported_and_loses_no_take(tmp_path: Path, way: str) -> None:
    """A real one where one may be mounted; and a limit on files, which is a real refusal, too."""
    before = (SMALL_DISK or ()) if way == "disk" else ()
    answer, kept = json.loads(run(FILL, tmp_path, way, before=before))
    reason = {
        "disk": "the disk is full; free some space",
        "limit": "the disk reported an error; free some space, and check the disk",
    }[way]
    path = tmp_path / "journal.sqlite"
    assert kept > 5
    files = ["journal.sqlite", "journal.sqlite-shm", "journal.sqlite-wal"]
    assert answer.pop("files") == ["filler"] * (way == "disk") + files
    if way == "disk":
        assert answer.pop("new") == (
            f"the journal {tmp_path}/new/journal.sqlite cannot be opened: {reason}"
        )
        assert answer.pop("copy") == (
            f"the journal {path} cannot be copied to {tmp_path}/copy.sqlite: {reason}"
        )
    assert answer == {
        "add": f"the journal {path} cannot be written: {reason}",
        "there": True,
        "again": 1,
        "all": True,
        "check": "ok",
    }


AS_NOBODY = """
import json, os, sys
from pathlib import Path
from tests.support import journal_records as made
from trainer.store import Journal, JournalError

folder, nobody = Path(sys.argv[1]), int(sys.argv[2])
kept = folder / "kept" / "journal.sqlite"
with Journal(kept) as journal:
    journal.add(made.take("a"))
(folder / "empty").mkdir()
if os.getuid() == 0:
    for one in [folder, *folder.rglob("*")]:
        os.chown(one, nobody, nobody)
    os.setgroups([])
    os.setgid(nobody)
    os.setuid(nobody)
for one in (folder / "kept", folder / "empty"):
    one.chmod(0o500)
kept.chmod(0o400)
before = kept.read_bytes()

def message_of(action):
    try:
        return action()
    except JournalError as error:
        return str(error)

def add():
    with Journal(kept) as journal:
        return journal.add(made.take("b"))

answer = {
    "new": message_of(lambda: Journal(folder / "empty" / "journal.sqlite")),
    "deeper": message_of(lambda: Journal(folder / "empty" / "own" / "journal.sqlite")),
    "add": message_of(add),
    "same": kept.read_bytes() == before,
    "files": sorted(one.name for one in (folder / "kept").iterdir()),
}
print(json.dumps(answer))
for one in (folder / "kept", folder / "empty"):
    one.chmod(0o700)
"""


def test_a_read_only_folder_is_reported() -> None:
    """Run as a user who is not root, because permissions do not stop root.

    pytest's own folder is closed to that user.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name).resolve()
        folder.chmod(0o755)
        answer = json.loads(run(AS_NOBODY, folder, NOBODY))
    reason = "no permission to write the file or its folder; check their owner and permissions"
    assert answer == {
        "new": f"the journal {folder}/empty/journal.sqlite cannot be opened: {reason}",
        "deeper": f"the journal {folder}/empty/own/journal.sqlite cannot be opened: {reason}",
        "add": f"the journal {folder}/kept/journal.sqlite cannot be opened: {reason}",
        "same": True,
        "files": ["journal.sqlite"],
    }


def test_a_file_in_place_of_the_folder_is_reported(tmp_path: Path) -> None:
    (tmp_path / "way").write_text("in the way")
    for name in ("way/journal.sqlite", "way/own/journal.sqlite"):
        reported = f"the journal {tmp_path}/{name} cannot be opened: a file is in the place"
        remedy = "move it, or choose another"
        with pytest.raises(JournalError, match=f"{reported} of a folder; {remedy}"):
            Journal(tmp_path / name)
    with pytest.raises(JournalError, match=f"^the journal {tmp_path} is not a file; move it"):
        Journal(tmp_path)
    assert (tmp_path / "way").read_text() == "in the way"


def test_a_writer_that_holds_the_lock_too_long_is_reported(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "LOCK_TIMEOUT_S", 0.3)
    with Journal(path) as journal, closing(sqlite3.connect(path)) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE takes SET score = 0")
        reported = "another copy of the trainer is using it; close that one, or try again"
        with pytest.raises(JournalError, match=f"cannot be written: {reported}"):
            journal.add(made.take("a"))
        assert journal.takes() == []
        with Journal(path) as third:
            assert third.takes() == []
        other.execute("ROLLBACK")
        assert journal.add(made.take("a")) == 1


# --- what is no journal, or not ours ---------------------------------------------------------


def whole(path: Path) -> bytes:
    """A journal of some hundred pages, closed."""
    with Journal(path) as journal:
        journal.add(*made.numbered(200))
    return path.read_bytes()


def without_page(data: bytes, wanted: bytes) -> bytes:
    """A database without the page that says something."""
    page = data.index(wanted) // 4096 * 4096
    return data[:page] + bytes(4096) + data[page + 4096 :]


DAMAGE = {
    "text": lambda data: b"Dear journal, today I played the half-step bend on four.\n" * 40,
    "short": lambda data: b"Dear journal",
    "head": lambda data: bytes(16) + data[16:],
    "half": lambda data: data[: len(data) // 2 + 77],
    "one page": lambda data: data[:4096],
    "a page": lambda data: without_page(data, made.new_id(150).encode()),
    "a figure": lambda data: data.replace(b'{"pitch": ', b'{"pitch"; '),
    "a moment": lambda data: data.replace(b"2026-09-03T", b"2026-09-0yT"),
}


NO_JOURNAL = ("text", "short")
"""Files that were never a journal."""


@pytest.mark.parametrize("damage", NO_JOURNAL)
def test_a_file_that_is_no_journal_is_reported_and_left_unchanged(path: Path, damage: str) -> None:
    data = DAMAGE[damage](whole(path))
    path.write_bytes(data)
    reported = r"cannot be opened: it is damaged or not a journal; move it away with its"
    with pytest.raises(
        JournalError, match=f"^the journal {path} {reported} -wal file, and restore a backup$"
    ):
        Journal(path)
    assert path.read_bytes() == data
    assert os.listdir(path.parent) == [path.name]


@pytest.mark.parametrize("damage", [name for name in DAMAGE if name not in NO_JOURNAL])
@pytest.mark.parametrize("backup", [True, False], ids=["backup", "no backup"])
def test_a_damaged_journal_is_restored(path: Path, damage: str, backup: bool) -> None:
    data = whole(path)
    if backup:
        Journal(path).close()  # the first time that a journal with takes is opened today
    path.write_bytes(DAMAGE[damage](data))
    repair._checked.clear()  # as another process would see it
    if backup and damage in ("a figure", "a moment"):  # which only reading a row shows
        with (
            pytest.raises(JournalError, match="is damaged: try again"),
            Journal(path) as journal,
        ):
            journal.takes()
    with Journal(path) as journal:
        takes = journal.takes()
    (notice,) = take_notices()
    (aside,) = path.parent.glob("journal.damaged-*.sqlite")
    assert str(aside) in notice
    assert aside.read_bytes()[16:] == DAMAGE[damage](data)[16:]
    every = list(made.numbered(200))
    if backup:
        assert takes == every
        assert f"restored from the backup of {date.today()}" in notice
    else:
        assert {take.id for take in takes} <= {take.id for take in every}
        assert len(takes) >= {"half": 80, "one page": 0}.get(damage, 150)
    with Journal(path) as journal:
        assert journal.add(made.take("later")) == 1
    assert not take_notices()


def test_takes_since_the_backup_are_salvaged_and_a_bad_backup_is_passed_over(path: Path) -> None:
    with Journal(path) as journal:
        journal.add(*made.numbered(30))
    Journal(path).close()
    folder = path.parent / "backups"
    (today,) = folder.iterdir()
    today.rename(folder / "journal-2026-01-02.sqlite")
    (folder / "journal-2026-01-03.sqlite").write_bytes(b"Dear backup")
    with Journal(path) as journal:  # backed up again, and nothing else of today
        journal.add(made.take("later"))
    (folder / f"journal-{date.today()}.sqlite").unlink()
    data = bytearray(path.read_bytes())
    at = data.index(b'{"pitch": ')
    data[at : at + 10] = b'{"pitch"; '
    path.write_bytes(data)
    with Journal(path) as journal:
        assert len(journal.takes()) == 31
    (notice,) = take_notices()
    assert "from the backup of 2026-01-02, with 1 take that could still be read" in notice


def test_backups_are_kept_for_a_few_days(path: Path) -> None:
    with Journal(path) as journal:
        journal.add(made.take("a"))
    folder = path.parent / "backups"
    folder.mkdir()
    for day in range(1, 9):
        (folder / f"journal-2026-01-0{day}.sqlite").touch()
    (folder / "journal-mine.sqlite").touch()
    Journal(path).close()
    days = [f"2026-01-0{day}" for day in range(5, 9)]
    names = [*(f"journal-{day}.sqlite" for day in (*days, date.today())), "journal-mine.sqlite"]
    assert sorted(os.listdir(folder)) == names


def test_a_journal_that_cannot_be_restored_is_reported(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path.write_bytes(without_page(whole(path), made.new_id(150).encode()))

    def locked(source: Path, target: Path) -> None:
        raise PermissionError(13, "The process cannot access the file")

    monkeypatch.setattr(repair, "replace_path", locked)
    repair._checked.clear()
    with pytest.raises(JournalError, match="is damaged and cannot be restored: no permission"):
        Journal(path)
    assert not take_notices()


@pytest.mark.parametrize("version", [0, 1, 99])
def test_another_programs_database_is_reported_and_left_unchanged(path: Path, version: int) -> None:
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE takes (id TEXT)")
        db.execute(f"PRAGMA user_version = {version}")
    before = path.read_bytes()
    reported = f"^{path} is a database of another program, not a journal; choose another file$"
    with pytest.raises(JournalError, match=reported):
        Journal(path)
    assert path.read_bytes() == before
    assert os.listdir(path.parent) == [path.name]


def test_a_newer_journal_is_reported_and_left_unchanged(path: Path) -> None:
    newer = schema.SCHEMA_VERSION + 1
    with closing(sqlite3.connect(path.parent.parent / path.name)) as db:
        db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {newer}")
        db.execute("CREATE TABLE unheard_of (id TEXT)")
    path = path.parent.parent / path.name
    before = path.read_bytes()
    reported = (
        rf"^a newer trainer wrote the journal {path} \(version {newer}; this one reads up to "
        rf"{schema.SCHEMA_VERSION}\); update the trainer, or choose another file$"
    )
    with pytest.raises(JournalError, match=reported):
        Journal(path)
    assert path.read_bytes() == before


def test_an_empty_file_becomes_a_journal(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    path.touch()
    with Journal(path) as journal:
        assert journal.add(made.take("a")) == 1


# --- who may read it ------------------------------------------------------------------------


def rights(path: Path) -> str:
    return oct(stat.S_IMODE(path.stat().st_mode))


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_only_the_owner_can_read_it(tmp_path: Path, umask: int) -> None:
    path = tmp_path / "share" / "own" / "journal.sqlite"
    before = os.umask(umask)
    try:
        with Journal(path) as journal:
            journal.add(made.take("a"))
            journal.copy_to(tmp_path / "copy.sqlite")
            files = sorted(path.parent.iterdir())
            assert [file.name for file in files] == [
                path.name + end for end in ("", "-shm", "-wal")
            ]
            assert {rights(file) for file in [*files, tmp_path / "copy.sqlite"]} == {"0o600"}
        assert {rights(path.parent), rights(path.parent.parent)} == {"0o700"}
    finally:
        os.umask(before)


def test_permissions_of_the_file_are_restricted_and_the_folders_left(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    tmp_path.chmod(0o755)
    with Journal(path) as journal:
        journal.add(made.take("a"))
        for file in tmp_path.iterdir():
            file.chmod(0o644)
        Journal(path).close()
        assert {rights(file) for file in tmp_path.rglob("*.sqlite*")} == {"0o600"}
        assert rights(tmp_path / "backups") == "0o700"
    assert rights(tmp_path) == "0o755"


# --- copies -----------------------------------------------------------------------------------


def test_a_copy_is_a_journal(path: Path, nursery: Nursery, tmp_path: Path) -> None:
    copy, again = tmp_path / "copy.sqlite", tmp_path / "again.sqlite"
    with Journal(path) as journal:
        journal.add_harp(made.harp(1))
        writer = nursery.writer(path)
        writer.wait(20)
        before = journal.takes()
        journal.copy_to(copy)  # while another copy of the trainer writes
        journal.copy_to(again)
        reported = writer.kill()
    assert sorted(os.listdir(tmp_path)) == ["again.sqlite", "copy.sqlite", "own"]
    assert len(before) <= assert_sound(copy, [take.id for take in before]) <= len(reported) + 1
    with Journal(again) as journal:
        assert journal.harps() == [made.harp(1)]
        there = again.read_bytes()
        with pytest.raises(JournalError, match="exists already; choose another name"):
            Journal(path).copy_to(again)
        assert again.read_bytes() == there
    with Journal(path) as journal, pytest.raises(JournalError, match="does not exist"):
        journal.copy_to(tmp_path / "nowhere" / "copy.sqlite")


# --- the years --------------------------------------------------------------------------------


def rows_of(db: sqlite3.Connection) -> dict[str, list[dict[str, object]]]:
    """Every row of every table, columns by name."""
    db.row_factory = sqlite3.Row
    names = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
    return {
        name: sorted(map(dict, db.execute(f"SELECT * FROM {name}")), key=repr)
        for (name,) in db.execute(names).fetchall()
    }


def tables_of(db: sqlite3.Connection) -> list[tuple[str, str]]:
    query = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name"
    return [tuple(row) for row in db.execute(query)]


def restored(dump: Path, path: Path) -> dict[str, list[dict[str, object]]]:
    """Make the journal of a dump; its rows."""
    with closing(sqlite3.connect(path)) as db:
        db.executescript(dump.read_text(encoding="utf-8"))
        return rows_of(db)


def test_each_schema_version_has_a_dump() -> None:
    names = [f"version-{number}.sql" for number in range(1, schema.SCHEMA_VERSION + 1)]
    assert [dump.name for dump in DUMPS] == sorted(names)


@pytest.mark.parametrize("dump", DUMPS, ids=lambda dump: dump.stem)
def test_a_journal_of_every_version_opens_with_every_row(dump: Path, tmp_path: Path) -> None:
    path, new = tmp_path / "journal.sqlite", tmp_path / "new.sqlite"
    before = restored(dump, path)
    assert all(before.values()), "a table of the dump has no rows"
    with Journal(path) as journal:
        takes = journal.takes()
        assert len(takes) == len(before["takes"])
        assert sum(len(take.steps) for take in takes) == len(before["steps"])
        assert len(journal.harps()) == len(before["harps"])
        assert len(journal.calibrations()) == len(before["calibrations"])
        assert journal.add(made.take("new")) == 1
        Journal(new).close()
    with closing(sqlite3.connect(path)) as db, closing(sqlite3.connect(new)) as fresh:
        assert tables_of(db) == tables_of(fresh)
        assert db.execute("PRAGMA user_version").fetchone()[0] == schema.SCHEMA_VERSION
        after = rows_of(db)
    for name, rows in before.items():
        known = rows[0].keys()
        left = [{column: row[column] for column in known if column in row} for row in after[name]]
        assert all(row in left for row in rows), name


def test_a_former_name_of_a_cleanness_rule_is_migrated(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    restored(DUMPS[0], path)
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE steps SET care = 'loose' WHERE idx = 0")
    with Journal(path) as journal:
        cares = [step.care for take in journal.takes() for step in take.steps]
    assert "blur" in cares
    assert "loose" not in cares


@pytest.mark.parametrize("dump", DUMPS, ids=lambda dump: dump.stem)
def test_released_migrations_do_not_change(dump: Path, tmp_path: Path) -> None:
    restored(dump, tmp_path / "old.sqlite")
    with closing(sqlite3.connect(tmp_path / "old.sqlite")) as old:
        (version,) = old.execute("PRAGMA user_version").fetchone()
        with closing(sqlite3.connect(":memory:")) as db:
            for step in schema.MIGRATIONS[:version]:
                db.executescript(step)
            assert tables_of(db) == tables_of(old)


NEXT = """
    CREATE TABLE rebuilt (id TEXT PRIMARY KEY, player TEXT NOT NULL, mood TEXT NOT NULL) STRICT;
    INSERT INTO rebuilt SELECT id, player, 'fair; a breeze' FROM takes;
    DROP TABLE takes;
    ALTER TABLE rebuilt RENAME TO takes;
    CREATE TRIGGER moods AFTER UPDATE ON takes BEGIN
        UPDATE takes SET mood = 'new' WHERE id = NEW.id;
        DELETE FROM days;
    END;
    CREATE TABLE weather (day TEXT) STRICT;
"""


def test_a_new_version_runs_one_migration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even one that rebuilds the table that others point to."""
    path = tmp_path / "journal.sqlite"
    before = restored(DUMPS[-1], path)
    monkeypatch.setattr(opening, "MIGRATIONS", (*schema.MIGRATIONS, NEXT))
    monkeypatch.setattr(opening, "SCHEMA_VERSION", schema.SCHEMA_VERSION + 1)
    with Journal(path) as journal:
        journal._db.execute("UPDATE takes SET player = 'Marit'")
    with closing(sqlite3.connect(path)) as db:
        after = rows_of(db)
    assert after["steps"] == before["steps"]
    assert {row["id"] for row in after["takes"]} == {row["id"] for row in before["takes"]}
    assert {row["mood"] for row in after["takes"]} == {"new"}
    assert (after["days"], after["weather"]) == ([], [])


@pytest.mark.parametrize(
    ("step", "reported"),
    [
        ("CREATE TABLE new (a TEXT); DROP TABLE nowhere;", "no such table: nowhere"),
        ("CREATE TABLE new (a TEXT); DELETE FROM takes;", "it has steps without a take"),
        ("CREATE TABLE new (a TEXT); INSERT INTO new VALUES ('", "unrecognized token"),
    ],
)
def test_a_failed_migration_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, reported: str
) -> None:
    path = tmp_path / "journal.sqlite"
    before = restored(DUMPS[-1], path)
    with monkeypatch.context() as patch:
        patch.setattr(opening, "MIGRATIONS", (*schema.MIGRATIONS, step))
        patch.setattr(opening, "SCHEMA_VERSION", schema.SCHEMA_VERSION + 1)
        with pytest.raises(JournalError, match=reported):
            Journal(path)
    with closing(sqlite3.connect(path)) as db:
        assert rows_of(db) == before
    with Journal(path) as journal:
        assert len(journal.takes()) == len(before["takes"])


@pytest.mark.parametrize("failures", [1, 3])
def test_opening_is_tried_again_while_another_copy_prepares_the_file(
    path: Path, monkeypatch: pytest.MonkeyPatch, failures: int
) -> None:
    """Entering WAL mode upgrades a read lock, which SQLite's own timeout does not cover."""
    locked = path.parent.parent / "locked.sqlite"
    with (
        closing(sqlite3.connect(locked, isolation_level=None)) as holder,
        closing(sqlite3.connect(locked, timeout=0.0)) as waiter,
    ):
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(sqlite3.OperationalError) as busy:
            waiter.execute("CREATE TABLE t (a)")
    prepare = opening._prepare
    left = [busy.value] * failures

    def prepare_later(db: sqlite3.Connection, file: Path) -> None:
        if left:
            raise left.pop()
        prepare(db, file)

    monkeypatch.setattr(opening, "_prepare", prepare_later)
    with Journal(path) as journal:
        assert journal.takes() == []
    assert not left


def test_any_other_error_while_opening_is_reported_at_once(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []

    def fail(db: sqlite3.Connection, file: Path) -> None:
        calls.append(file)
        raise sqlite3.OperationalError("no such thing")

    monkeypatch.setattr(opening, "_prepare", fail)
    with pytest.raises(JournalError, match="no such thing"):
        Journal(path)
    assert len(calls) == 1


def test_an_old_sqlite_is_reported_with_the_version_that_is_needed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `sqlite3` names its versions: the third number is no part of what is asked for."""
    major, minor, _ = opening.OLDEST_SQLITE
    monkeypatch.setattr(opening.sqlite3, "sqlite_version_info", (major, minor - 1, 9))
    with pytest.raises(JournalError, match=rf"needs SQLite {major}\.{minor} or newer, and this"):
        Journal(path)
    assert not path.exists()


def test_the_journal_is_in_the_users_data_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification, on the systems that follow it."""
    if sys.platform != "linux":
        pytest.skip("the folder of Linux")
    monkeypatch.setenv("XDG_DATA_HOME", "/somewhere/data")
    assert journal_path() == Path("/somewhere/data/trainer/journal.sqlite")


def test_wishes_of_a_player_are_kept_and_replaced(tmp_path: Path) -> None:
    monday = date(2026, 11, 23)
    with Journal(tmp_path / "journal.sqlite") as journal:
        journal.save_focus("Jorun", Focus("-3''", monday, monday + timedelta(days=6)))
        journal.save_focus("Marit", Focus("rhythm", monday, monday))
        journal.save_focus("Marit", None)
        journal.save_placements("Jorun", [Placement("moves", 3, monday)])
        journal.save_placements("Jorun", [Placement("moves", 2, monday, True)])
    with Journal(tmp_path / "journal.sqlite") as journal:
        focus = journal.focus("Jorun", monday + timedelta(days=6))
        assert focus is not None
        assert focus.name == "-3''"
        assert journal.focus("Jorun", monday + timedelta(days=7)) is None
        assert journal.focus("Jorun", monday - timedelta(days=1)) is None
        assert journal.focus("Marit", monday) is None
        assert journal.placements("Jorun") == [Placement("moves", 2, monday, True)]
        assert journal.placements("Marit") == []
