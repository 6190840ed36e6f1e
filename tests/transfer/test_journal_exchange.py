"""Export and import of journals: every record comes back whole, or a reason is reported."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support import journal_records as made
from trainer.drill import CRITERIA, SOLO_CRITERIA
from trainer.store import (
    SOURCE_NAMES,
    Calibration,
    Focus,
    HarpTag,
    Journal,
    JournalError,
    OwnHarp,
    Placement,
    ReedRecord,
    SoloRecord,
    StepRecord,
    TakeRecord,
)
from trainer.transfer.journal_files import (
    JOURNAL_FORMAT_NAME,
    JournalFormat,
    export_journal,
    export_journal_lines,
    import_journal,
)
from trainer.transfer.validation import STEP_KINDS

TESTS = Path(__file__).parent.parent
JSONL, CSV = JournalFormat.JSONL, JournalFormat.CSV
HEAD = f'{{"format": "{JOURNAL_FORMAT_NAME}", "version": 2}}'
NOTHING: tuple[object, ...] = ([], [], [], [], [])


def everything(journal: Journal) -> tuple[object, ...]:
    """All that an export holds."""
    return (
        journal.takes(),
        journal.harps(),
        journal.calibrations(),
        journal.focuses(),
        journal.all_placements(),
    )


def text_of(journal: Journal, format_: JournalFormat = JSONL, **only: object) -> str:
    return "".join(export_journal_lines(journal, format_, **only))  # type: ignore[arg-type]


@pytest.fixture
def full(tmp_path: Path) -> Journal:
    """A journal of some takes of several players, with harps and round trips."""
    journal = Journal(tmp_path / "full.sqlite")
    journal.add(*made.numbered(20))
    journal.add_harp(made.harp(1))
    journal.add_harp(made.harp(2, "Jorun"))
    journal.add_calibration(made.calibration(1))
    return journal


@pytest.fixture
def empty(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "empty.sqlite")


# --- there and back -------------------------------------------------------------------------

# All that a text may hold but control characters and halves of characters; and, for a table,
# what stands between the texts of a list.
texts = st.text(st.characters(exclude_categories=("Cc", "Cs"), exclude_characters="|"), max_size=20)
words = texts.filter(str.strip)
shares = st.floats(0, 100)
figures = st.none() | st.floats(allow_nan=False, allow_infinity=False)
moments = st.datetimes(datetime(1971, 1, 1), datetime(2198, 1, 1), timezones=st.just(UTC))
entries = st.sampled_from(["4", "-4'", "-3'''", "6o", "-7o", "10''"])
tags = st.builds(
    HarpTag,
    key=st.sampled_from(["C", "Bb", "low F"]),
    tuning=words,
    a4=st.floats(400, 480),
    temperament=st.sampled_from(["equal", "just5"]),
    name=st.none() | words,
)
steps = st.builds(
    StepRecord,
    index=st.integers(0, 500),
    tab=words,
    kind=st.sampled_from(STEP_KINDS),
    entry=st.none() | entries,
    care=st.sampled_from(["plain", "clean", "blur", "chord"]),
    beats=st.floats(0, 64),
    score=shares,
    parts=st.dictionaries(st.sampled_from(CRITERIA), shares),
    sentence=texts,
    heard=st.none() | words,
    **dict.fromkeys(("cents", "wobble_cents", "drift_cents", "scoop_cents"), figures),
    **dict.fromkeys(("settle_ms", "leak_db", "late_ms"), figures),
    leak_hole=st.none() | st.integers(1, 10),
    hz=st.none() | st.floats(1, 1e4),
)
solos = st.builds(
    SoloRecord,
    bar=st.integers(0, 99),
    beats=st.floats(0.25, 400),
    score=shares,
    criteria=st.dictionaries(st.sampled_from(SOLO_CRITERIA), shares),
    notes=st.integers(0, 999),
    sentence=texts,
)
takes = st.builds(
    TakeRecord,
    id=st.text("0123456789abcdef", min_size=1, max_size=32),
    player=words,
    began=moments,
    day=st.just(datetime.min.date()),
    drill=words,
    title=words,
    skills=st.lists(words, max_size=3).map(tuple),
    harp=tags,
    tempo=st.floats(0, 1000, exclude_min=True),
    source=st.sampled_from(SOURCE_NAMES),
    score=shares,
    passed=st.booleans(),
    whole=st.booleans(),
    seconds=st.floats(0, 1e6),
    steps=st.lists(steps, max_size=4, unique_by=lambda step: step.index).map(
        lambda some: tuple(sorted(some, key=lambda step: step.index))
    ),
    extras=st.lists(words, max_size=2).map(tuple),
    audio=st.none(),
    first_bar=st.none() | st.integers(1, 99),
    last_bar=st.none() | st.integers(1, 99),
    tolerance=st.none() | st.floats(1, 50),
    solos=st.lists(solos, max_size=2).map(tuple),
).flatmap(
    # The player's day, where the sun may already have risen on the next.
    lambda take: st.integers(-1, 1).map(
        lambda days: replace(take, day=take.began.date() + timedelta(days=days))
    )
)
reeds = st.builds(ReedRecord, entries, st.floats(1, 1e4), st.floats(0, 100))
harps = st.builds(OwnHarp, words, words, tags, moments, st.lists(reeds, max_size=3).map(tuple)).map(
    lambda harp: replace(harp, tag=replace(harp.tag, name=harp.name))
)
numbers = st.floats(allow_nan=False, allow_infinity=False)
calibrations = st.builds(
    Calibration, words, words, st.integers(1, 200_000), numbers, numbers, moments, st.booleans()
)


days = st.dates(date(1970, 1, 1), date(2199, 12, 31))
focuses = st.builds(
    lambda name, first, last: Focus(name, min(first, last), max(first, last)),
    entries | st.just("rhythm"),
    days,
    days,
)
placements = st.builds(Placement, words, st.integers(1, 10), days, st.booleans())
players = st.sampled_from(made.PLAYERS)


def round_trip(
    format_: JournalFormat,
    held: list[TakeRecord],
    measured: list[OwnHarp],
    trips: list[Calibration],
    wishes: dict[str, Focus],
    levels: dict[str, list[Placement]],
) -> None:
    """Write a journal, read it into an empty one, and once more."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / f"journal.{format_}"
        with Journal(folder / "one.sqlite") as original, Journal(folder / "two.sqlite") as copy:
            assert original.add(*held) == len(held)
            for harp in measured:
                original.add_harp(harp)
            for trip in trips:
                original.add_calibration(trip)
            for player, focus in wishes.items():
                original.save_focus(player, focus)
            for player, levels_of in levels.items():
                original.save_placements(player, levels_of)
            export_journal(original, path, format_)
            new = import_journal(copy, path).new
            assert new == tuple(map(len, everything(original)))
            assert everything(copy) == everything(original)
            assert import_journal(copy, path).new == (0,) * 5
            assert import_journal(original, path).new == (0,) * 5
            assert everything(copy) == everything(original)
            assert text_of(copy, format_) == path.read_text(encoding="utf-8")


often = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
some_takes = st.lists(takes, max_size=3, unique_by=lambda take: take.id)


@often
@given(
    some_takes,
    st.lists(harps, max_size=2),
    st.lists(calibrations, max_size=2),
    st.dictionaries(players, focuses),
    st.dictionaries(players, st.lists(placements, max_size=2)),
)
def test_what_is_exported_and_imported_is_the_same(
    held: list[TakeRecord],
    measured: list[OwnHarp],
    trips: list[Calibration],
    wishes: dict[str, Focus],
    levels: dict[str, list[Placement]],
) -> None:
    round_trip(JSONL, held, measured, trips, wishes, levels)


@often
@given(some_takes)
def test_takes_come_back_from_a_table_the_same(held: list[TakeRecord]) -> None:
    round_trip(CSV, held, [], [], {}, {})


def test_each_line_is_json_of_a_known_kind(full: Journal) -> None:
    first, *lines = map(json.loads, text_of(full).splitlines())
    assert first == {"format": "trainer journal", "version": 2}
    kinds = [line["kind"] for line in lines]
    assert kinds == ["take"] * 20 + ["harp"] * 2 + ["calibration"]
    take, played = lines[0], full.takes()[0]
    assert take["id"] == played.id
    assert datetime.fromisoformat(take["began"]) == played.began
    assert [step["cents"] for step in take["steps"]] == [step.cents for step in played.steps]
    assert "audio" not in take  # the sound stays where it is


def test_a_table_has_a_row_a_step(full: Journal) -> None:
    rows = list(csv.DictReader(io.StringIO(text_of(full, CSV))))
    played = [(take, step) for take in full.takes() for step in take.steps]
    assert len(rows) == len(played)
    for row, (take, step) in zip(rows, played, strict=True):
        assert (row["id"], row["player"], row["skills"]) == (
            take.id,
            take.player,
            " | ".join(take.skills),
        )
        assert (row["step"], row["tab"], row["sentence"]) == (
            str(step.index + 1),
            step.tab,
            step.sentence,
        )
        assert row["cents"] == ("" if step.cents is None else repr(step.cents))
        assert {part: float(row[f"part_{part}"]) for part in step.parts} == step.parts


def test_one_players_export_is_theirs_alone(full: Journal, empty: Journal, tmp_path: Path) -> None:
    day = full.takes()[8].day
    export_journal(full, tmp_path / "jorun.jsonl", player="Jorun", since=day)
    import_journal(empty, tmp_path / "jorun.jsonl")
    wanted = [take for take in full.takes() if take.player == "Jorun" and take.day >= day]
    assert everything(empty) == (wanted, [made.harp(2, "Jorun")], [], [], [])
    assert wanted
    with pytest.raises(JournalError, match=r"^no player 'Nils' .*; it has Jorun, Marit, Ø"):
        text_of(full, player="Nils")


def test_the_later_focus_and_level_stay(full: Journal, empty: Journal, tmp_path: Path) -> None:
    week = timedelta(days=7)
    first = date(2026, 5, 4)
    full.save_focus("Marit", Focus("-3''", first, first + week))
    full.save_placements("Marit", [Placement("rhythm", 4, first), Placement("chords", 2, first)])
    empty.save_focus("Marit", Focus("rhythm", first - week, first))
    later = Placement("rhythm", 3, first + week)
    empty.save_placements("Marit", [later])
    export_journal(full, tmp_path / "marit.jsonl", player="Marit")
    new = import_journal(empty, tmp_path / "marit.jsonl").new
    assert (new.focuses, new.placements) == (1, 1)
    assert empty.focuses() == full.focuses()
    assert empty.placements("Marit") == [Placement("chords", 2, first), later]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ('{"kind": "focus", "player": "Marit", "name": "-1", "since": "2026-05-11"}', "'until' is"),
        (
            '{"kind": "focus", "player": "Marit", "name": "-11", "since": "2026-05-11", '
            '"until": "2026-05-12"}',
            "names hole 11",
        ),
        (
            '{"kind": "focus", "player": "Marit", "name": "-1", "since": "2026-05-11", '
            '"until": "2026-05-02"}',
            "'until' must not be before 'since'",
        ),
        (
            '{"kind": "placement", "player": "", "skill": "rhythm", "level": 3, '
            '"day": "2026-05-02", "by_hand": false}',
            "a player's name",
        ),
        (
            '{"kind": "placement", "player": "Marit", "skill": "rhythm", "level": 0, '
            '"day": "2026-05-02", "by_hand": false}',
            "'level' must be from 1",
        ),
    ],
)
def test_an_impossible_focus_or_level_gets_a_reason(
    line: str, reason: str, empty: Journal, tmp_path: Path
) -> None:
    path = tmp_path / "wrong.jsonl"
    path.write_text(f"{HEAD}\n{line}\n", encoding="utf-8")
    with pytest.raises(JournalError, match=reason):
        import_journal(empty, path)
    assert everything(empty) == NOTHING


# --- students and teachers ------------------------------------------------------------------


def test_students_journals_go_into_the_teachers(tmp_path: Path) -> None:
    with Journal(tmp_path / "teacher.sqlite") as teacher:
        own = [made.take("a" * 32, player="Ragna")]
        teacher.add(*own)
        for name in ("Marit", "Jorun"):
            # Each student's login is the school's.
            student = Journal(tmp_path / f"{name}.sqlite")
            student.add(*(made.take(f"{name}-{i}", player="player") for i in range(5)))
            student.add_harp(made.harp(1, "player"))
            export_journal(student, tmp_path / f"{name}.jsonl")
            imported = import_journal(teacher, tmp_path / f"{name}.jsonl", name)
            assert imported.contents.players == [name]
            assert imported.new == (5, 1, 0, 0, 0)
            # A week later, with one take more.
            student.add(made.take(f"{name}-new", player="player"))
            export_journal(student, tmp_path / f"{name}-2.jsonl")
            assert import_journal(teacher, tmp_path / f"{name}-2.jsonl", name).new == (
                1,
                0,
                0,
                0,
                0,
            )
            student.close()
        assert teacher.players() == ["Jorun", "Marit", "Ragna"]
        assert len(teacher.takes(player="Marit")) == len(teacher.takes(player="Jorun")) == 6
        assert teacher.takes(player="Ragna") == own
        assert [harp.player for harp in teacher.harps()] == ["Jorun", "Marit"]


def test_several_players_are_not_made_one(full: Journal, empty: Journal, tmp_path: Path) -> None:
    export_journal(full, tmp_path / "all.jsonl")
    expected = (
        r"has takes of Jorun, Marit, Ødger, who cannot all be 'Nils'; import it as it is, or exp"
    )
    with pytest.raises(JournalError, match=expected):
        import_journal(empty, tmp_path / "all.jsonl", "Nils")
    export_journal(full, tmp_path / "one.jsonl", player="Marit")
    for name in ("", " ", "two\nlines", "\x1b[2J", "x" * 81):
        with pytest.raises(JournalError, match="is not a valid name: a player's name is one line"):
            import_journal(empty, tmp_path / "one.jsonl", name)
    assert everything(empty) == NOTHING


# --- what comes from elsewhere --------------------------------------------------------------


def a_take(**changes: object) -> str:
    """A line of a take."""
    take = {
        "kind": "take",
        "id": "5a" * 16,
        "player": "Marit",
        "began": "2026-11-25T18:30:00+01:00",
        "day": "2026-11-25",
        "drill": "slack-tide",
        "title": "Slack tide",
        "skills": ["single notes"],
        "harp": {"key": "C"},
        "tempo": 72,
        "source": "microphone",
        "score": 81.5,
        "passed": True,
        "whole": True,
        "seconds": 30,
        "steps": [a_step()],
    }
    return json.dumps({k: v for k, v in (take | changes).items() if v is not ...})


def a_step(**changes: object) -> dict[str, object]:
    step = {
        "index": 0,
        "tab": "-4'",
        "kind": "note",
        "entry": "-4'",
        "care": "plain",
        "beats": 1,
        "score": 81.5,
        "parts": {"pitch": 80},
        "sentence": "12 cents flat",
    }
    return {k: v for k, v in (step | changes).items() if v is not ...}


def a_harp(**changes: object) -> str:
    harp = {
        "kind": "harp",
        "player": "Marit",
        "name": "old C",
        "tag": {"key": "C"},
        "measured": "2026-11-25T18:30:00Z",
        "reeds": [{"tab": "4", "hz": 523.0}],
    }
    return json.dumps(harp | changes)


def a_trip(**changes: object) -> str:
    trip = {
        "kind": "calibration",
        "input": "USB",
        "output": "hall",
        "rate": 48000,
        "latency_ms": 21.5,
        "spread_ms": 0.2,
        "measured": "2026-11-25T18:30:00Z",
    }
    return json.dumps(trip | changes)


def test_what_may_be_left_out_is_as_usual(empty: Journal, tmp_path: Path) -> None:
    path = tmp_path / "by-hand.jsonl"
    lines = ["\ufeff" + HEAD, "", a_take(), "  ", a_harp(), a_trip(), ""]
    path.write_text("\r\n".join(lines), encoding="utf-8")
    assert import_journal(empty, path).new == (1, 1, 1, 0, 0)
    ((take,), (harp,), (trip,), _, _) = everything(empty)  # type: ignore[misc]
    assert take.began == datetime(2026, 11, 25, 17, 30, tzinfo=UTC)
    assert take.harp == HarpTag("C", "richter", 440.0, "equal")
    assert (take.extras, take.audio, take.steps[0].cents) == ((), None, None)
    assert (harp.tag.name, harp.reeds) == ("old C", (ReedRecord("4", 523.0, 0.0),))
    assert (trip.latency_ms, trip.by_hand) == (21.5, False)


WRONG = {
    "{": "this is not JSON: Expecting property name enclosed in double quotes at column 2",
    a_take()[:300]: "this is not JSON: ",
    "[" * 100_000: "this is not JSON",
    '"take"': "its 'kind' must be one of take, harp, calibration",
    a_take(kind="tape"): "its 'kind' must be one of take, harp, calibration",
    a_take(id=...): "'id' is missing",
    a_take(id="../../outside"): "'id' must be up to 64 letters, digits, - and _",
    a_take(player=" "): "'player' must not be empty",
    a_take(title="\x1b]0;gone\x07"): "remove its control characters",
    a_take(title="half \ud83c"): "remove its control characters, lone surrogates",
    a_take(began="yesterday"): "'began' must be a valid datetime",
    a_take(began=12): "'began' must be a valid datetime",
    a_take(began="2026-11-25T18:30:00"): "'began' must have a time zone, as in 2026-11-25T18:30",
    a_take(began="0001-01-01T00:00:00+14:00"): "'began' must lie between 1970 and 2199",
    a_take(day="2026-11-28"): "'day' must be the day on which it began",
    a_take(skills="single notes"): "'skills' must be a valid array",
    a_take(harp={"key": "H"}): "no harp has the key 'H'",
    a_take(harp={"key": "C", "a4": 300}): "A4 = 300 Hz is out of range",
    a_take(harp={"key": "C", "temperament": "odd"}): "no temperament is called 'odd'",
    a_take(tempo=0): "'tempo' must be more than 0",
    a_take(tempo=int("9" * 400)): "remove its control characters, lone surrogates or endless n",
    a_take(source="radio"): "'source' must be one of microphone, recording, player",
    a_take(score=140): "'score' must be from 0 to 100; 140 is not",
    a_take(score="81"): "'score' must be a valid number",
    a_take(score=float("nan")): "it has a number that is infinite or not a number",
    a_take(passed=1): "'passed' must be a valid boolean",
    a_take(audio="audio/x.flac"): "'audio' stays where it was recorded; leave it out",
    a_take(colour="blue"): "there is no field 'colour'",
    a_take(steps=[a_step(), a_step()]): "two steps have the same number",
    a_take(steps=[a_step(), a_step(score=...)]): "step 2: 'score' is missing",
    a_take(steps=[a_step(colour="blue")]): "there is no field 'colour'",
    a_take(steps=[a_step(score=-1)]): "step 1: 'score' must be from 0 to 100; -1 is not",
    a_take(steps=[a_step(entry="-11")]): "step 1: '-11' names hole 11",
    a_take(steps=[a_step(kind="yodel")]): "step 1: 'kind' must be one of note, chord, glide, la",
    a_take(steps=[a_step(care="none")]): "step 1: 'care' must be one of plain, clean, blur",
    a_take(steps=[a_step(parts={"charm": 1})]): "step 1: 'parts' must be some of pitch, ",
    a_take(steps=[a_step(leak_hole=11)]): "step 1: 'leak_hole' must be from 1 to 10",
    a_take(steps=[a_step(hz=0)]): "step 1: 'hz' must be more than 0",
    a_take(steps=[a_step(index=-1)]): "step 1: 'index' must be a number from 0",
    a_harp(name=""): "'name' must not be empty",
    a_harp(reeds=[{"tab": "4", "hz": -5}]): "'hz' must be more than 0",
    a_harp(tag={"key": "X"}): "no harp has the key 'X'",
    a_trip(rate=0): "'rate' must be a sample rate in hertz",
    a_trip(latency_ms="fast"): "'latency_ms' must be a valid number",
}


def test_former_names_are_imported_as_the_present_ones(empty: Journal, tmp_path: Path) -> None:
    path = tmp_path / "marit.jsonl"
    path.write_text("\n".join([HEAD, a_take(steps=[a_step(care="loose")])]), encoding="utf-8")
    import_journal(empty, path)
    assert [step.care for take in empty.takes() for step in take.steps] == ["blur"]


@pytest.mark.parametrize("line", WRONG, ids=[message[:40] for message in WRONG.values()])
def test_a_bad_line_is_reported_with_its_number_and_nothing_is_imported(
    empty: Journal, tmp_path: Path, line: str
) -> None:
    path = tmp_path / "marit.jsonl"
    path.write_text("\n".join([HEAD, a_take(id="fine"), line, a_harp()]), encoding="utf-8")
    with pytest.raises(JournalError) as error:
        import_journal(empty, path)
    first, last = str(error.value).split("\n")
    assert first.startswith(f"{path}:3: {WRONG[line]}")
    assert last == f"nothing of {path} was imported; correct it, or export it again"
    assert everything(empty) == NOTHING


def test_all_bad_lines_are_told_up_to_a_measure(empty: Journal, tmp_path: Path) -> None:
    path = tmp_path / "marit.jsonl"
    path.write_text("\n".join([HEAD, *[a_take(score=101), a_harp()] * 15]), encoding="utf-8")
    with pytest.raises(JournalError) as error:
        import_journal(empty, path)
    lines = str(error.value).split("\n")
    assert [line.split(": ")[0] for line in lines[:10]] == [f"{path}:{n}" for n in range(2, 22, 2)]
    assert lines[10] == f"{path}: 5 more lines are wrong"
    assert len(lines) == 12


NO_EXPORT = {
    "": "1: this is not an exported journal: neither JSON lines nor CSV",
    "Dear journal,\ntoday": "1: this is not an exported journal: neither JSON lines nor CSV",
    "[1, 2]": f"1: this is not an exported journal; one begins with {HEAD}",
    a_take(): "1: this is not an exported journal; one begins with",
    '{"format": "trainer journal", "version": 3}': "1: update the trainer: a newer one wrote this "
    "(format version 3, and this one reads 2)",
    '{"format": "trainer journal"}': "1: its 'version' must be a number from 1",
    "id,player,began\n1,2,3": "1: this table of takes lacks columns: day, drill, title, tempo, ",
}


@pytest.mark.parametrize("text", NO_EXPORT)
def test_what_is_no_export_is_reported(empty: Journal, tmp_path: Path, text: str) -> None:
    path = tmp_path / "file"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(JournalError) as error:
        import_journal(empty, path)
    assert str(error.value).startswith(f"{path}:{NO_EXPORT[text]}")


def test_files_that_hold_no_text_are_reported(
    full: Journal, empty: Journal, tmp_path: Path
) -> None:
    full.copy_to(tmp_path / "copy.sqlite")
    (tmp_path / "latin.jsonl").write_bytes(HEAD.encode() + b"\n\n" + "Ødger".encode("latin-1"))
    for name, expected in {
        "copy.sqlite": "copy.sqlite is a journal, not an export of one; run 'trainer journal",
        "latin.jsonl": "latin.jsonl:3: this is not UTF-8 text; save it as UTF-8",
        "nowhere": f"^{tmp_path}/nowhere does not exist; check the name and the folder",
        ".": f"^{tmp_path} is a folder; name a file inside it",
    }.items():
        with pytest.raises(JournalError, match=expected):
            import_journal(empty, tmp_path / name)


def test_an_export_overwrites_nothing_and_is_private(full: Journal, tmp_path: Path) -> None:
    path = tmp_path / "out.jsonl"
    before = os.umask(0)
    try:
        export_journal(full, path)
    finally:
        os.umask(before)
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.read_text(encoding="utf-8") == text_of(full)
    path.write_text("dear")
    with pytest.raises(JournalError, match="exists already; choose another name"):
        export_journal(full, path)
    with pytest.raises(JournalError, match="no player 'Nils'"):
        export_journal(full, tmp_path / "nils.jsonl", player="Nils")
    with pytest.raises(JournalError, match=f"the folder {tmp_path}/nowhere does not exist"):
        export_journal(full, tmp_path / "nowhere" / "out.jsonl")
    assert path.read_text() == "dear"
    assert not list(tmp_path.glob("*nils*"))
    assert not list(tmp_path.glob("*.part"))


# --- tables that went through a spreadsheet -------------------------------------------------


def changed(text: str, change: Callable[[list[dict[str, str]]], object]) -> list[dict[str, str]]:
    rows = list(csv.DictReader(io.StringIO(text)))
    change(rows)
    return rows


def written(rows: list[dict[str, str]], columns: list[str], **how: object) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, extrasaction="ignore", **how)  # type: ignore[arg-type]
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


@pytest.mark.parametrize("delimiter", [";", "\t", ","])
def test_a_table_may_come_back_in_another_order_with_more_columns(
    full: Journal, empty: Journal, tmp_path: Path, delimiter: str
) -> None:
    rows = list(csv.DictReader(io.StringIO(text_of(full, CSV))))
    Random(1).shuffle(rows)
    columns = [*rows[0], "my own notes"]
    Random(2).shuffle(columns)
    path = tmp_path / "takes.csv"
    text = written(rows, columns, delimiter=delimiter, restval="well done; more of it, though")
    path.write_text("\ufeff" + text, encoding="utf-8", newline="")
    import_journal(empty, path)
    assert empty.takes() == full.takes()


def test_a_table_needs_only_what_makes_a_take(
    full: Journal, empty: Journal, tmp_path: Path
) -> None:
    from trainer.transfer.takes_csv import REQUIRED_COLUMNS

    rows = list(csv.DictReader(io.StringIO(text_of(full, CSV))))
    (tmp_path / "takes.csv").write_text(
        written(rows, list(REQUIRED_COLUMNS)), encoding="utf-8", newline=""
    )
    import_journal(empty, tmp_path / "takes.csv")
    for there, back in zip(full.takes(), empty.takes(), strict=True):
        assert (back.id, back.score, back.began) == (there.id, there.score, there.began)
        assert (back.skills, back.harp) == ((), HarpTag(there.harp.key))
        assert [step.sentence for step in back.steps] == [step.sentence for step in there.steps]
        assert {(step.cents, step.entry, *step.parts) for step in back.steps} == {(None, None)}


@pytest.mark.parametrize(
    ("column", "cell", "expected"),
    [
        ("score", "140", "'score' differs from line 2 of the same take"),
        ("step", "1", "step 1 of this take occurs twice"),
        ("step", "two", "'step' must be a whole number from 1"),
        ("step", "0", "'index' must be a number from 0"),
        ("step_score", "", "'score' must be a valid number"),
        ("step_score", "nan", "'score' must be"),
        ("cents", "inf", "'cents' must be a number"),
        ("cents", "1,5", "'cents' must be a valid number"),
        ("sentence", "red \x1b[31m", "remove its control characters"),
        ("part_pitch", "101", "'pitch' must be from 0 to 100; 101 is not"),
    ],
)
def test_a_bad_cell_is_reported_with_its_line(
    full: Journal, empty: Journal, tmp_path: Path, column: str, cell: str, expected: str
) -> None:
    rows = list(csv.DictReader(io.StringIO(text_of(full, CSV))))
    assert rows[0]["id"] == rows[1]["id"]
    rows[1][column] = cell
    path = tmp_path / "takes.csv"
    path.write_text(written(rows, list(rows[0])), encoding="utf-8", newline="")
    with pytest.raises(JournalError) as error:
        import_journal(empty, path)
    lines = str(error.value).split("\n")
    assert lines[0].startswith(f"{path}:3: {expected}")
    assert lines[-1].startswith(f"nothing of {path} was imported")
    assert empty.takes() == []


def test_a_cut_or_torn_table_is_reported(full: Journal, empty: Journal, tmp_path: Path) -> None:
    text = text_of(full, CSV)
    path = tmp_path / "takes.csv"
    for torn, expected in {
        text.replace('"a -3', '"a "-3', 1): "this is not CSV: ",
        text.rstrip("\n") + ",more": "this line has more cells than the first",
        text + '"': "this is not CSV: unexpected end of data",
    }.items():
        assert torn != text
        path.write_text(torn, encoding="utf-8")
        with pytest.raises(JournalError, match=rf"^{path}:\d+: {expected}"):
            import_journal(empty, path)
        assert empty.takes() == []


# --- kills, and other copies ----------------------------------------------------------------

IMPORT = """
import sys
from pathlib import Path
from trainer.store import Journal
from trainer.transfer.journal_files import import_journal

with Journal(Path(sys.argv[1])) as journal:
    print("ready", flush=True)
    import_journal(journal, Path(sys.argv[2]))
    print("done", flush=True)
"""


def test_an_import_that_is_killed_was_whole_or_was_not(tmp_path: Path) -> None:
    source, path, file = (tmp_path / name for name in ("a.sqlite", "b.sqlite", "a.jsonl"))
    with Journal(source) as journal:
        journal.add(*made.numbered(300))
        journal.add_harp(made.harp(1))
        export_journal(journal, file)
        whole = everything(journal)
    command = [sys.executable, "-c", IMPORT, str(path), str(file)]
    whole_s = 0.5
    for fraction in (None, 0.1, 0.3, 0.5, 0.8):
        path.unlink(missing_ok=True)
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert process.stdout
        assert process.stdout.readline() == "ready\n"
        began = time.monotonic()
        if fraction is None:  # how long it takes today
            assert process.communicate()[0] == "done\n"
            whole_s = time.monotonic() - began
            continue
        time.sleep(fraction * whole_s)
        process.send_signal(signal.SIGKILL)
        done = process.communicate()[0] == "done\n"
        with Journal(path) as journal:
            imported = everything(journal)
        assert imported in (whole, NOTHING)
        assert imported == whole or not done
    with Journal(path) as journal:  # and once more, after it was killed
        import_journal(journal, file)
        assert everything(journal) == whole


def test_two_imports_at_once_are_as_one_after_the_other(full: Journal, tmp_path: Path) -> None:
    export_journal(full, tmp_path / "a.jsonl")
    command = [sys.executable, "-c", IMPORT, tmp_path / "both.sqlite", tmp_path / "a.jsonl"]
    both = [subprocess.Popen(command, stdout=subprocess.DEVNULL) for _ in range(2)]
    assert [process.wait(60) for process in both] == [0, 0]
    with Journal(tmp_path / "both.sqlite") as journal:
        assert everything(journal) == everything(full)
