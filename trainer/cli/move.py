"""``trainer drill move``: transpose a drill to another harp, by holes or by pitch."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import (
    Format,
    FormatOption,
    HarpOption,
    TuningOption,
    check_overwrite,
    write_json,
)

if TYPE_CHECKING:
    from trainer.core.problems import Problem
    from trainer.drill import Arrangement, Drill, DrillError


class By(StrEnum):
    """What stays the same when a drill is moved."""

    HOLES = "holes"
    PITCH = "pitch"


def move(
    drill: Annotated[str, typer.Argument(help="A drill's name, or the path of a drill file.")],
    harp: HarpOption = None,
    tuning: TuningOption = None,
    by: Annotated[
        By, typer.Option(help="What stays the same: the holes or the pitches.")
    ] = By.HOLES,
    position: Annotated[
        int | None,
        typer.Option(help="With --by pitch: the position to play it in.", min=1, max=12),
    ] = None,
    written: Annotated[
        int,
        typer.Option("--from", help="Position in which the drill is written.", min=1, max=12),
    ] = 1,
    half_steps: Annotated[
        int | None,
        typer.Option(
            help="With --by pitch: transpose by this many half steps, in one octave only.",
            min=-36,
            max=36,
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Write the best arrangement as a drill file.", metavar="FILE"),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Transpose a drill to another harp, and show how hard it is there.

    By holes, the tab stays the same, and the pitches move with the harp.

    By pitch, the tune stays the same, and the tab changes. Without --harp, all standard and low
    keys are tried, and the easiest is shown; with it, all octaves on that harp. --position selects
    the harps that play the tune in that position; with --harp, it transposes the tune to the key
    that the harp plays in that position.

    Examples:

      trainer drill move ferry-home --harp A

      trainer drill move ferry-home --by pitch --from 2 --position 3

      trainer drill move ferry-home --by pitch --harp G --out on-g.toml
    """
    from trainer.drill import find_drill
    from trainer.report.transposition_report import transposition_data, transposition_text

    if out is not None:
        _check_target(out, force=force)
    source = find_drill(drill)
    if by is By.PITCH:
        arrangements = _by_pitch(source, harp, tuning, written, position, half_steps)
    else:
        _check_by_holes(position, half_steps)
        arrangements = _by_holes(drill, source, harp, tuning)
    if format_ is Format.JSON:
        write_json(transposition_data(source, arrangements, written))
    else:
        width = shutil.get_terminal_size((80, 24)).columns
        typer.echo(transposition_text(source, arrangements, written, width))
    best = arrangements[0]
    if best.missing:
        typer.echo(_error(drill, best.problems), err=True)
        if out is not None:
            typer.echo(
                f"{out} was not written, because the {best.harp.name} harp cannot play all of it",
                err=True,
            )
        raise typer.Exit(ExitCode.FAILED)
    if out is not None:
        _write(best.drill, out)


def _by_holes(
    name: str, drill: Drill, harp: str | None, tuning: str | None
) -> tuple[Arrangement, ...]:
    from trainer.drill import DrillError, move_by_holes
    from trainer.harp import Harp

    if harp is None and tuning is None:
        raise DrillError("name the target harp, as in --harp A, or add --by pitch")
    try:
        return (move_by_holes(drill, Harp.of(harp or drill.key, tuning or drill.tuning)),)
    except DrillError as error:
        raise _error(name, error.problems) from None


def _check_by_holes(position: int | None, half_steps: int | None) -> None:
    from trainer.drill import DrillError

    for option, given in (("--position", position), ("--half-steps", half_steps)):
        if given is not None:
            raise DrillError(f"{option} needs --by pitch")


def _by_pitch(
    drill: Drill,
    key: str | None,
    tuning: str | None,
    written: int,
    position: int | None,
    half_steps: int | None,
) -> tuple[Arrangement, ...]:
    from trainer.drill import DrillError, arrangements_for_harp, arrangements_for_tuning
    from trainer.harp import Harp, load_tuning

    kind = load_tuning(tuning or drill.tuning).name
    if key is None:
        arrangements = arrangements_for_tuning(
            drill, kind, written=written, position=position, half_steps=half_steps
        )
    else:
        harp = Harp.of(key, kind)
        arrangements = arrangements_for_harp(
            drill, harp, written=written, position=position, half_steps=half_steps
        )
    if not arrangements:
        on = f"the {Harp.of(key, kind).name} harp has" if key else "these harps have"
        raise DrillError(f"{on} none of its notes; try another harp, position or transposition")
    return arrangements


def _error(name: str, problems: Iterable[Problem]) -> DrillError:
    """Return the problems of a drill as an error, with their lines of the file."""
    from trainer.core.problems import with_source_lines
    from trainer.core.text_files import normalize_text
    from trainer.drill import DrillError, drill_files, read_drill_text

    path = {name.lower(): path for name, path in drill_files().items()}.get(name.lower())
    path = path or Path(name)
    source = normalize_text(read_drill_text(path))
    return DrillError.from_problems(str(path), with_source_lines(problems, source))


def _check_target(path: Path, *, force: bool) -> None:
    from trainer.drill import DRILL_SUFFIX, DrillError

    if path.suffix != DRILL_SUFFIX:
        raise DrillError(f"'{path}' is not a name for a drill file; end it in {DRILL_SUFFIX}")
    check_overwrite(path, force=force)


def _write(drill: Drill, path: Path) -> None:
    from trainer.drill import DrillError, write_drill

    try:
        path.write_text(write_drill(drill), encoding="utf-8")
    except OSError as error:
        raise DrillError(
            f"{path} cannot be written: {error.strerror}; choose another name"
        ) from None
    typer.echo(f"Wrote {path}.", err=True)
