"""``trainer drill``: the drills at hand, one of them as a page, and checking drill files."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Annotated

import typer

from trainer.cli.exit import Exit
from trainer.cli.move import move
from trainer.cli.options import Format, FormatOption

app = typer.Typer(help="Drills: list them, read one, check files.", no_args_is_help=True)
app.command()(move)


@app.command("list")
def list_drills(
    format_: FormatOption = Format.TEXT,
) -> None:
    """List the drills at hand, in the order of a course.

    Example: trainer drill list
    """
    from trainer.drill import read_shelf
    from trainer.report.course import course, course_data

    shelf = read_shelf()
    typer.echo(
        course(shelf, _width())
        if format_ is Format.TEXT
        else json.dumps(course_data(shelf), indent=2)
    )
    for error in shelf.errors:
        typer.echo(error, err=True)


@app.command()
def show(
    drill: Annotated[str, typer.Argument(help="A drill's name, or the path of a drill file.")],
) -> None:
    """Show a drill: what it trains, its goal, and the page of tab with beats under it.

    Example: trainer drill show harbour-bell
    """
    from trainer.drill import find
    from trainer.report.page import sheet

    typer.echo(sheet(find(drill), _width()))


@app.command()
def check(
    paths: Annotated[list[Path], typer.Argument(help="Drill files, and folders of them.")],
) -> None:
    """Check drill files and tell everything that is wrong with them.

    Example: trainer drill check my-drills new-one.toml
    """
    from trainer.drill import DrillError, read_drill
    from trainer.drill.shelf import drill_paths

    files = drill_paths(paths)
    wrong = 0
    for path in files:
        try:
            read_drill(path)
        except DrillError as error:
            wrong += 1
            typer.echo(error)
    typer.echo(f"{len(files) - wrong} of {len(files)} drill files are fine.")
    if wrong:
        raise typer.Exit(Exit.FAILED)


def _width() -> int:
    """Columns of the terminal; 80 where there is none."""
    return shutil.get_terminal_size((80, 24)).columns
