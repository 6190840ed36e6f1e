"""Private files, atomic writes and reading of text files."""

from __future__ import annotations

import stat
import sys
from pathlib import Path

import pytest

from trainer.core.files import (
    atomic_write,
    create_private_file,
    make_private_folder,
    replace_file,
    restrict_to_owner,
)
from trainer.core.text_files import ReadFailure, TextFileError, read_text_file

posix = pytest.mark.skipif(sys.platform == "win32", reason="permissions of POSIX systems")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


class TestPrivateFiles:
    @posix
    def test_new_folders_and_files_belong_to_their_owner_alone(self, tmp_path: Path) -> None:
        folder = tmp_path / "one" / "two"
        make_private_folder(folder)
        create_private_file(folder / "file")
        assert [mode(tmp_path / "one"), mode(folder), mode(folder / "file")] == [
            0o700,
            0o700,
            0o600,
        ]

    @posix
    def test_an_existing_folder_keeps_its_mode(self, tmp_path: Path) -> None:
        (tmp_path / "open").mkdir(mode=0o755)
        (tmp_path / "open").chmod(0o755)
        make_private_folder(tmp_path / "open")
        assert mode(tmp_path / "open") == 0o755

    @posix
    def test_restricting_an_open_file(self, tmp_path: Path) -> None:
        path = tmp_path / "file"
        path.touch(mode=0o644)
        restrict_to_owner(path)
        assert mode(path) == 0o600
        restrict_to_owner(tmp_path / "missing")

    def test_a_taken_name_is_refused(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("kept")
        with pytest.raises(FileExistsError):
            create_private_file(tmp_path / "file")
        assert (tmp_path / "file").read_text() == "kept"


class TestAtomicWrite:
    def test_the_name_appears_when_the_block_ends(self, tmp_path: Path) -> None:
        path = tmp_path / "file"
        with atomic_write(path) as part:
            part.write_text("whole")
            assert not path.exists()
        assert path.read_text() == "whole"
        assert list(tmp_path.iterdir()) == [path]

    def test_a_failure_leaves_nothing(self, tmp_path: Path) -> None:
        def fail_halfway() -> None:
            with atomic_write(tmp_path / "file") as part:
                part.write_text("half")
                raise RuntimeError

        with pytest.raises(RuntimeError):
            fail_halfway()
        assert list(tmp_path.iterdir()) == []

    def test_a_file_that_appears_meanwhile_is_kept(self, tmp_path: Path) -> None:
        path = tmp_path / "file"

        def write_late() -> None:
            with atomic_write(path) as part:
                part.write_text("late")
                path.write_text("first")

        with pytest.raises(FileExistsError):
            write_late()
        assert path.read_text() == "first"
        assert list(tmp_path.iterdir()) == [path]

    def test_without_hard_links(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def refuse(*_: object) -> None:
            raise PermissionError(1, "not permitted")

        monkeypatch.setattr("os.link", refuse)
        with atomic_write(tmp_path / "file") as part:
            part.write_text("whole")
        assert (tmp_path / "file").read_text() == "whole"
        with pytest.raises(FileExistsError), atomic_write(tmp_path / "other") as part:
            (tmp_path / "other").write_text("first")
        assert (tmp_path / "other").read_text() == "first"


class TestReplaceFile:
    @posix
    def test_new_content_and_mode(self, tmp_path: Path) -> None:
        path = tmp_path / "file"
        path.write_text("old")
        replace_file(path, b"new", mode=0o640)
        assert (path.read_text(), mode(path)) == ("new", 0o640)
        assert list(tmp_path.iterdir()) == [path]

    @posix
    def test_a_link_stays_a_link(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("old")
        link = tmp_path / "link"
        link.symlink_to(tmp_path / "file")
        replace_file(link, b"new")
        assert link.is_symlink()
        assert (tmp_path / "file").read_text() == "new"

    def test_a_failure_keeps_the_old_file(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        path = tmp_path / "file"
        path.write_text("old")

        def refuse(*_: object) -> None:
            raise OSError(28, "disk full")

        monkeypatch.setattr("os.fsync", refuse)
        with pytest.raises(OSError, match="disk full"):
            replace_file(path, b"new")
        assert path.read_text() == "old"
        assert list(tmp_path.iterdir()) == [path]


class TestReadTextFile:
    def test_text_is_unchanged(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_bytes("\ufeffa\r\nö\n".encode())
        assert read_text_file(tmp_path / "file") == "\ufeffa\r\nö\n"

    def test_size_limit_is_inclusive(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_bytes(b"abc")
        assert read_text_file(tmp_path / "file", max_bytes=3) == "abc"
        with pytest.raises(TextFileError) as caught:
            read_text_file(tmp_path / "file", max_bytes=2)
        assert caught.value.failure is ReadFailure.TOO_LARGE

    @pytest.mark.parametrize(
        ("name", "failure"),
        [
            ("missing", ReadFailure.MISSING),
            (".", ReadFailure.NOT_A_FILE),
            ("x" * 300, ReadFailure.SYSTEM),
        ],
    )
    def test_failures(self, tmp_path: Path, name: str, failure: ReadFailure) -> None:
        with pytest.raises(TextFileError) as caught:
            read_text_file(tmp_path / name)
        assert caught.value.failure is failure
        assert str(caught.value).startswith(str(tmp_path))

    def test_a_path_with_a_nul_byte(self) -> None:
        with pytest.raises(TextFileError):
            read_text_file(Path("a\0b"))

    def test_position_of_the_first_wrong_byte(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_bytes("one\nö".encode() + b"\xff\n")
        with pytest.raises(TextFileError) as caught:
            read_text_file(tmp_path / "file")
        assert caught.value.failure is ReadFailure.NOT_UTF8
        assert (caught.value.line, caught.value.column) == (2, 2)
