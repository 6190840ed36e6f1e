"""`trainer harp`: the chart of a harp, and which harp plays a song's key."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import Format, FormatOption

if TYPE_CHECKING:
    from trainer.harp import Harp


def harp(
    key: Annotated[
        str | None,
        typer.Argument(help="Key of the harp: C, Bb, 'low F' (or LF), 'high G', 'double-low F'."),
    ] = None,
    song: Annotated[
        str | None, typer.Option(help="Key of a song, such as A, Bb or F#m.", metavar="KEY")
    ] = None,
    position: Annotated[
        int | None,
        typer.Option(help="1 to 12; by default 1, or the one in which the harp plays the song."),
    ] = None,
    tuning: Annotated[str, typer.Option(help="Name of the harp's tuning.")] = "richter",
    temperament: Annotated[str, typer.Option(help="equal, just5 or just7.")] = "equal",
    a4: Annotated[float, typer.Option("--a4", help="Hz of A4, 400 to 480.")] = 440.0,
    offset: Annotated[
        list[str] | None,
        typer.Option(help="Your own cents for a tab entry; may be repeated.", metavar="TAB=CENTS"),
    ] = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Show what a harp can play, or which harp plays a song.

    With a harp's KEY: tab, note, degree and Hz of all it can play.

    With --song alone: the harp to pick in that position, and in the others.

    With both: the harp in the position in which it plays the song.

    Examples:

      trainer harp C --position 2

      trainer harp "low F" --tuning paddy --temperament just7 --offset=-3=-6

      trainer harp --song A --position 2
    """
    from trainer.harp import Harp, HarpError, load_tuning, parse_offsets
    from trainer.report.chart import Chart, chart_data, chart_text, picks_data, picks_text

    if key is not None:
        offsets = parse_offsets(offset or ())
        in_hand = Harp.of(key, tuning, a4=a4, temperament_name=temperament, offsets=offsets)
        chart = Chart.of(in_hand, _position(in_hand, song, position))
        answer = chart_text(chart) if format_ is Format.TEXT else _json(chart_data(chart))
    elif song is not None:
        asked = (song, 1 if position is None else position, load_tuning(tuning))
        answer = picks_text(*asked) if format_ is Format.TEXT else _json(picks_data(*asked))
    else:
        raise HarpError(
            "name a harp, as in 'trainer harp C', or a song's key, as in 'trainer harp --song A'"
        )
    typer.echo(answer)


def _position(in_hand: Harp, song: str | None, position: int | None) -> int:
    from trainer.harp import HarpError
    from trainer.music import position_for, position_name, song_tonic

    if song is None:
        return 1 if position is None else position
    fits = position_for(in_hand.key.tonic, song_tonic(song))
    if position not in (None, fits):
        raise HarpError(
            f"a {in_hand.key} harp plays a song in {song} in {position_name(fits)} position; "
            "leave out --position to see that, or the harp's key to see which harp to pick"
        )
    return fits


def _json(data: dict[str, object]) -> str:
    return json.dumps(data, indent=2)
