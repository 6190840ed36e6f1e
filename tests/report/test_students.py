"""Who played which recording: from folders, files and a list of the class."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from trainer.core import TrainerError
from trainer.report.students import (
    FoundRecording,
    ListedStudent,
    missing_students,
    name_students,
    read_class_list,
)

CLASS = Path("class")


def in_class(*paths: str) -> list[FoundRecording]:
    return [FoundRecording(CLASS / path, CLASS) for path in paths]


def names(*paths: str, listed: tuple[ListedStudent, ...] = ()) -> list[str]:
    return list(name_students(in_class(*paths), listed).values())


def test_folders_name_their_students_and_files_the_others() -> None:
    assert names("anna/take.wav", "bert/take.wav", "clara.flac") == ["anna", "bert", "clara"]


def test_several_recordings_of_a_student_are_told_apart() -> None:
    assert names("anna/one.wav", "anna/two.wav") == ["anna, one", "anna, two"]
    assert names("anna/take.wav", "anna/take.flac") == ["anna/take.wav", "anna/take.flac"]


def test_files_that_are_named_alone_take_their_folders_only_where_they_must() -> None:
    paths = [Path("anna/take.wav"), Path("bert/take.wav"), Path("clara/solo.wav")]
    named = name_students([FoundRecording(path) for path in paths])
    assert list(named.values()) == ["anna", "bert", "solo"]


@pytest.mark.parametrize(
    "paths",
    [
        ("a/a.wav", "a.wav", "a.flac"),
        ("x/a/t.wav", "x/b/t.wav", "y/a/t.wav"),
        ("Anna.wav", "anna.wav"),
        (os.fsdecode(b"caf\xe9.wav"), os.fsdecode(b"caf\xe8.wav")),
        ("t\x1b[2J.wav", "t\x9b[2J.wav"),
    ],
)
def test_no_two_names_are_the_same_and_all_can_be_shown(paths: tuple[str, ...]) -> None:
    given = names(*paths)
    assert len({name.casefold() for name in given}) == len(paths)
    assert all(name.isprintable() and name.encode() for name in given)


def test_a_list_names_students_by_file_folder_or_their_own_names(tmp_path: Path) -> None:
    path = tmp_path / "class.txt"
    path.write_text(
        '\ufeff# the class\r\nAnna, one.wav\r\n"Bo, junior", bo/\r\n\r\nclara\r\nDag\r\n',
        encoding="utf-8",
    )
    listed = read_class_list(path)
    assert [student.name for student in listed] == ["Anna", "Bo, junior", "clara", "Dag"]
    takes = ("one.wav", "bo/take.wav", "Clara.flac", "eva.wav")
    assert names(*takes, listed=listed) == ["Anna", "Bo, junior", "clara", "eva"]
    assert missing_students(in_class(*takes), listed) == ["Dag"]


def test_a_list_that_cannot_be_meant_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "class.txt"
    path.write_text("# nobody\n")
    with pytest.raises(TrainerError, match="names no student; write a name on each line"):
        read_class_list(path)
    path.write_text("Anna\nanna\n")
    with pytest.raises(TrainerError, match="has 'anna' 2 times"):
        read_class_list(path)
    path.write_bytes(b"Anna\xff\n")
    with pytest.raises(TrainerError, match="not UTF-8"):
        read_class_list(path)
    two = (ListedStudent("Anna", "take.wav"), ListedStudent("Bo", "bo"))
    with pytest.raises(TrainerError, match=r"take\.wav fits both Anna and Bo"):
        names("bo/take.wav", listed=two)
