"""``trainer drill``: list and show drills; start, check and format drill files."""

from __future__ import annotations

import json
import shlex
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exchange import export, import_
from trainer.cli.exit_codes import ExitCode
from trainer.cli.move import move
from trainer.cli.options import (
    Format,
    FormatOption,
    open_player_journal,
    player_settings,
    write_json,
)

if TYPE_CHECKING:
    from trainer.drill import Drill

app = typer.Typer(
    help="Drills: list and show them; write, check and format drill files.", no_args_is_help=True
)
PathsArgument = Annotated[list[Path], typer.Argument(help="Drill files, or folders of them.")]
app.command()(move)
app.command()(export)
app.command("import")(import_)


@app.command("list")
def list_drills(
    format_: FormatOption = Format.TEXT,
) -> None:
    """List the drills on the shelf by main skill, the easier skills first.

    Example: trainer drill list
    """
    from trainer.drill import read_shelf
    from trainer.report.shelf_report import shelf_data, shelf_text

    shelf = read_shelf()
    typer.echo(
        shelf_text(shelf, _width())
        if format_ is Format.TEXT
        else json.dumps(shelf_data(shelf), indent=2)
    )
    for error in shelf.errors:
        typer.echo(error, err=True)


@app.command()
def course(
    player: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Name of the player. [default: from settings]"),
    ] = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Show the course: its stages, what opens them, and where the player stands.

    Example: trainer drill course
    """
    from trainer.coach import course_standing, passed_drills
    from trainer.drill import read_course, read_shelf
    from trainer.report.course_report import course_data, course_text

    shelf, name = read_shelf(), player or player_settings().player.name
    with open_player_journal() as journal:
        takes = journal.takes(player=name, steps=False) if journal else ()
        passed = passed_drills(takes)
    standings = course_standing(read_course(), passed)
    if format_ is Format.TEXT:
        typer.echo(course_text(standings, shelf, _width()))
    else:
        write_json(course_data(standings, shelf))


@app.command()
def show(
    drill: Annotated[str, typer.Argument(help="A drill's name, or the path of a drill file.")],
) -> None:
    """Show a drill: what it trains, its goal, and its tab with the beats.

    Example: trainer drill show harbour-bell
    """
    from trainer.drill import find_drill
    from trainer.report.tab_layout import drill_text

    typer.echo(drill_text(find_drill(drill).at_widest(), _width()))


@app.command()
def new(
    name: Annotated[str, typer.Argument(help="Name of the drill, or path of its file.")],
    title: Annotated[
        str | None, typer.Option(help="Title, one line. [default: from the name]")
    ] = None,
    harp: Annotated[
        str, typer.Option("--harp", metavar="KEY", help="Key of the harp: C, Bb, 'low F'.")
    ] = "C",
    tempo: Annotated[float, typer.Option(help="Beats per minute.", min=20, max=300)] = 72,
    meter: Annotated[
        str, typer.Option(help="Beats in a bar and their note value, such as 3/4.")
    ] = "4/4",
) -> None:
    """Start a new drill: a small file with comments, in your own drills folder.

    Example: trainer drill new my-first-bend --harp A --tempo 60
    """
    from trainer.drill import drill_files, drill_template, new_drill_path, write_new_drill

    path = new_drill_path(name)
    shadowed = drill_files().get(path.stem)
    write_new_drill(path, drill_template(path.stem, title, harp, tempo, meter))
    typer.echo(f"Wrote {path}.")
    by_name = drill_files().get(path.stem) == path
    if by_name and shadowed:
        typer.echo(f"It replaces the drill {path.stem} of the shelf.")
    file, drill = shlex.quote(str(path)), shlex.quote(path.stem if by_name else str(path))
    typer.echo(
        "Edit it in any text editor, then:\n"
        f"  trainer drill check {file}\n"
        f"  trainer drill show {drill}\n"
        f"  trainer play {drill}"
    )


@app.command()
def check(
    paths: PathsArgument,
    strict: Annotated[bool, typer.Option("--strict", help="Fail on warnings, too.")] = False,
    prove: Annotated[
        bool,
        typer.Option(
            "--prove", help="Play each drill with its aims missed, and fail if it is passed."
        ),
    ] = False,
) -> None:
    """Check drill files: list all errors, and warn about steps that are hard to play as written.

    Example: trainer drill check my-drills new-one.toml
    """
    from trainer.drill import (
        DrillError,
        expand_drill_paths,
        lint_drill,
        parse_drill,
        read_drill_text,
    )

    files = expand_drill_paths(paths)
    wrong = warnings = 0
    for path in files:
        try:
            text = read_drill_text(path)
            drill = parse_drill(text, path.stem, str(path))
        except DrillError as error:
            wrong += 1
            typer.echo(error)
            continue
        for doubt in lint_drill(text, drill):
            warnings += 1
            typer.echo(doubt.format(str(path), "warning"))
        if prove:
            lines = _failed_trials(drill)
            wrong += bool(lines)
            typer.echo("\n".join(lines) or f"{path}: proved")
    warned = f"{warnings} warning{'s' * (warnings > 1)}; " if warnings else ""
    typer.echo(f"{warned}{len(files) - wrong} of {len(files)} drill files are valid.")
    if wrong or (strict and warnings):
        raise typer.Exit(ExitCode.FAILED)


def _failed_trials(drill: Drill) -> list[str]:
    """A line for each performance that shows that a drill does not hold its player to its aims."""
    from trainer.harp import Harp
    from trainer.practice import prove

    return [
        f"{drill.name}: {trial.name or 'played without a fault'} earns {trial.score:.0f} "
        f"at a tolerance of {trial.tolerance:g} cents, "
        f"not {'under' if trial.is_upper else 'at least'} {trial.limit:.0f}"
        for trial in prove(drill, Harp.of(drill.key, drill.tuning))
        if not trial.holds
    ]


@app.command()
def fmt(
    paths: PathsArgument,
    check: Annotated[
        bool, typer.Option("--check", help="Write nothing; fail if a file would change.")
    ] = False,
) -> None:
    """Format drill files: align bars and beats in columns, and write present names of directions.

    Example: trainer drill fmt my-drills new-one.toml
    """
    from trainer.drill import (
        DrillError,
        expand_drill_paths,
        format_drill,
        overwrite_drill,
        read_drill_text,
    )

    files = expand_drill_paths(paths)
    wrong = changed = 0
    for path in files:
        try:
            text = read_drill_text(path)
            new_text = format_drill(text, path.stem, str(path))
            if new_text == text:
                continue
            if not check:
                overwrite_drill(path, new_text)
        except DrillError as error:
            wrong += 1
            typer.echo(error)
            continue
        changed += 1
        typer.echo(f"{path} {'would change' if check else 'is formatted'}")
    verb = "would change" if check else "changed"
    failures = f", and {wrong} could not be formatted" if wrong else ""
    typer.echo(f"{changed} of {len(files)} drill files {verb}{failures}.")
    if wrong or (check and changed):
        raise typer.Exit(ExitCode.FAILED)


@app.command()
def schema() -> None:
    """Print the JSON Schema of drill files, for editors that complete and check them.

    Example: trainer drill schema
    """
    from trainer.drill.schema import drill_schema as schema_of_drills

    write_json(schema_of_drills())


def _width() -> int:
    """Return the width of the terminal in columns; 80 if there is none."""
    return shutil.get_terminal_size((80, 24)).columns
