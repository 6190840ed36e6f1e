"""Marking many recordings: each ends in a mark or a sentence, and in a result that is kept."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import Format, check_ending, check_overwrite, write_json, write_text

if TYPE_CHECKING:
    from trainer.drill import Drill
    from trainer.practice import Fingerprint, MarkedRecording, Plan
    from trainer.report.class_report import Beside
    from trainer.report.recording_page import PageRequest
    from trainer.report.stored_results import StoredResults
    from trainer.report.students import FoundRecording, ListedStudent

RECORDING_EXTENSIONS = (".wav", ".flac", ".ogg", ".mp3")
"""Extensions of the recordings that are searched for in folders."""
CLASS_ENDINGS = (".html", ".md", ".csv", ".json")
"""Extensions of class reports."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A recording that is to be marked.

    Attributes:
        plan: how.
        notes: what the teacher should know of it.
        made_from: what its result will follow from.
        page: what its page shows beside the marks; None where no page is made.
    """

    plan: Plan
    notes: tuple[str, ...]
    made_from: Fingerprint
    page: PageRequest | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """Recordings of a drill that are marked together.

    Attributes:
        drill: the drill.
        recordings: the recordings.
        plan_of: makes the plan of a recording, and what the teacher should know of it.
        out: folder in which results are kept; None keeps none.
        workers: as in :func:`trainer.practice.mark_recordings`.
        class_: file of the class report; None writes none.
        listed: the students of the class's list.
        reports: folder of the students' pages; None makes none.
    """

    drill: Drill
    recordings: Sequence[FoundRecording]
    plan_of: Callable[[Path], tuple[Plan, tuple[str, ...]]]
    out: Path | None = None
    workers: int | str | None = None
    class_: Path | None = None
    listed: Sequence[ListedStudent] = ()
    reports: Path | None = None

    def mark(self, format_: Format) -> None:
        """Mark the recordings; print a line for each, and a summary.

        Raises:
            TrainerError: results cannot be stored.
            typer.Exit: a recording could not be marked.
        """
        from trainer.report.batch_report import (
            batch_summary_text,
            recording_data,
            recording_line,
        )
        from trainer.report.stored_results import StoredResults
        from trainer.report.students import name_students

        names = name_students(self.recordings, self.listed)
        stored = None if self.out is None else StoredResults(self.out)
        pages = {} if self.reports is None else _page_paths(self.reports, names)
        sorted_out = _SortedOut.of(self, stored, names, pages)
        if sorted_out.earlier:
            count = f"{len(sorted_out.earlier)} of {len(self.recordings)}"
            typer.echo(f"{count} have results in --out already", err=True)
        results = list(sorted_out.unreadable)
        for marked in results:
            typer.echo(recording_line(marked, names[marked.path]), err=format_ is Format.JSON)
        for marked in self._marked(sorted_out.planned, stored, pages):
            results.append(marked)
            if format_ is Format.TEXT:
                line = recording_line(marked, names[marked.path])
                typer.echo(f"\r{line}" if sys.stderr.isatty() else line)
        results.sort(key=lambda marked: marked.path)
        if format_ is Format.JSON:
            write_json([recording_data(marked) for marked in results])
        elif results:
            typer.echo(f"\n{batch_summary_text(results)}")
        if self.class_ is not None:
            data = [*sorted_out.earlier, *map(recording_data, results)]
            self._write_class(names, pages, data, stored)
        if any(marked.best is None for marked in results):
            raise typer.Exit(ExitCode.FAILED)

    def _marked(
        self,
        planned: Mapping[Path, Planned],
        stored: StoredResults | None,
        pages: Mapping[Path, Path],
    ) -> Iterator[MarkedRecording]:
        """Yield the recordings as they are marked; store each result and page."""
        from trainer.core.printable import raw_stream
        from trainer.practice import Job, mark_recording, run_jobs, with_absolute_path
        from trainer.report.batch_report import recording_data
        from trainer.report.recording_page import RecordingWithPage, mark_with_page, write_page

        jobs = []
        for path, each in planned.items():
            plan = with_absolute_path(each.plan)
            work: Callable[[], MarkedRecording] = partial(mark_recording, plan)
            if each.page is not None:
                key = each.page.key(each.made_from)
                work = partial(mark_with_page, plan, each.page, key)
            jobs.append(Job(path, work))
        with typer.progressbar(
            run_jobs(jobs, self.workers),
            length=len(jobs),
            file=raw_stream(sys.stderr),
            label="marking",
        ) as marking:
            for done in marking:
                each = planned[done.path]
                marked = replace(done, notes=(*each.notes, *done.notes))
                if stored is not None and marked.best is not None:
                    stored.write(done.path, self.drill, recording_data(marked), each.made_from)
                if isinstance(done, RecordingWithPage) and done.html:
                    write_page(pages[done.path], done.html)
                yield marked

    def _write_class(
        self,
        names: Mapping[Path, str],
        pages: Mapping[Path, Path],
        data: Sequence[Mapping[str, Any]],
        stored: StoredResults | None,
    ) -> None:
        import json

        from trainer.drill import read_shelf
        from trainer.report.class_page import class_html
        from trainer.report.class_report import (
            NO_RECORDING,
            Student,
            class_csv,
            class_data,
            class_markdown,
            read_students,
        )
        from trainer.report.students import missing_students

        assert self.class_ is not None
        shelf = read_shelf().drills
        by_text = {str(path): name for path, name in names.items()}
        beside = {str(path): self._beside(path, pages.get(path), stored) for path in names}
        missing = [
            Student(name, trouble=NO_RECORDING)
            for name in missing_students(self.recordings, self.listed)
        ]
        in_class = sorted(
            [*read_students(data, by_text, beside), *missing],
            key=lambda student: student.name.casefold(),
        )
        match self.class_.suffix.lower():
            case ".html":
                text = class_html(self.drill, in_class, shelf)
            case ".md":
                text = class_markdown(self.drill, in_class, shelf)
            case ".csv":
                text = class_csv(in_class)
            case _:
                text = json.dumps(class_data(self.drill, in_class, shelf), indent=2) + "\n"
        write_text(self.class_, text)
        typer.echo(f"Wrote {self.class_}.", err=True)

    def _beside(self, recording: Path, page: Path | None, stored: StoredResults | None) -> Beside:
        """Return what the class page shows of a student beside the marks."""
        from trainer.report.class_report import Beside
        from trainer.report.remarks import read_remarks, remarks_path

        assert self.class_ is not None
        passed = stored.passed_drills(recording, self.drill) if stored else frozenset[str]()
        if page is None:
            return Beside(passed_drills=passed)
        link = os.path.relpath(page, self.class_.parent) if page.exists() else ""
        remarks = read_remarks(remarks_path(page))
        shown = remarks[-1] if remarks else ""
        return Beside(Path(link).as_posix() if link else "", shown, passed)


def _page_paths(folder: Path, names: Mapping[Path, str]) -> dict[Path, Path]:
    """Return where the page of each recording is, in a folder that is made.

    Raises:
        TrainerError: the folder cannot be made.
    """
    from trainer.report.recording_page import page_names
    from trainer.report.stored_results import make_folder

    make_folder(folder)
    files = page_names(list(names.values()))
    return {path: folder / file for path, file in zip(names, files, strict=True)}


@dataclass(frozen=True, slots=True)
class _SortedOut:
    """Recordings by what is to be done with them.

    Attributes:
        earlier: results that are there and hold.
        planned: recordings to mark, by path.
        unreadable: those that cannot be.
    """

    earlier: list[dict[str, Any]] = field(default_factory=list)
    planned: dict[Path, Planned] = field(default_factory=dict)
    unreadable: list[MarkedRecording] = field(default_factory=list)

    @classmethod
    def of(
        cls,
        batch: Batch,
        stored: StoredResults | None,
        names: Mapping[Path, str],
        pages: Mapping[Path, Path],
    ) -> _SortedOut:
        from trainer.core import TrainerError
        from trainer.practice import Fingerprint, MarkedRecording, crash_sentence
        from trainer.report.recording_page import PageRequest, page_key
        from trainer.report.remarks import read_remarks, remarks_path

        sorted_out = cls()
        for recording in batch.recordings:
            path = recording.path
            try:
                plan, notes = batch.plan_of(path)
                made_from = Fingerprint.of(plan)
                page = pages.get(path)
                last = None if stored is None else stored.last(path, batch.drill, made_from)
                request = None
                if page is not None:
                    remarks = read_remarks(remarks_path(page))
                    passed = stored.passed_drills(path, batch.drill) if stored else frozenset[str]()
                    request = PageRequest(names[path], notes, last, remarks, passed_drills=passed)
            except TrainerError as error:
                sorted_out.unreadable.append(MarkedRecording(path, trouble=str(error)))
                continue
            except Exception as error:  # one recording stops no other
                sorted_out.unreadable.append(MarkedRecording(path, trouble=crash_sentence(error)))
                continue
            earlier = None
            if stored is not None and (
                page is None or request is None or page_key(page) == request.key(made_from)
            ):
                earlier = stored.read(path, batch.drill, made_from)
            if earlier is None:
                sorted_out.planned[path] = Planned(plan, notes, made_from, request)
            else:
                sorted_out.earlier.append(earlier)
        return sorted_out


def check_class(out: Path, *, force: bool) -> None:
    """Check that a class report can be written to a file.

    Raises:
        TrainerError: its name has no known ending, or it exists and `force` is not set.
    """
    check_ending(out, CLASS_ENDINGS)
    check_overwrite(out, force=force)


def find_recordings(paths: Sequence[Path]) -> list[FoundRecording]:
    """Return the recordings of some files and folders, each once.

    Raises:
        SoundError: a folder holds none.
    """
    from trainer.report.students import FoundRecording
    from trainer.sound import SoundError

    by_place: dict[str, FoundRecording] = {}
    for path in paths:
        matches = [FoundRecording(path)]
        if path.is_dir():
            matches = [
                FoundRecording(match, path)
                for match in sorted(path.rglob("*"))
                if match.suffix.lower() in RECORDING_EXTENSIONS
            ]
            if not matches:
                raise SoundError(
                    f"the folder {path} has no recordings ({', '.join(RECORDING_EXTENSIONS)})"
                )
        for match in matches:
            by_place.setdefault(os.path.abspath(match.path), match)
    return list(by_place.values())
