"""``trainer harp``: the chart of a harp, the harp for a song, and own harps.

``trainer harp C`` is short for ``trainer harp chart C``: what is no sub-command goes to the chart.
"""

from __future__ import annotations

import difflib
import json
import shutil
import sys
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import (
    A4Option,
    ChannelOption,
    DeviceOption,
    Format,
    FormatOption,
    TemperamentOption,
    TuningOption,
    harp_from_options,
    microphone_spec,
    player_journal,
    player_settings,
    write_json,
)
from trainer.cli.terminal_guard import catch_interrupts, silence_libraries
from trainer.core.printable import raw_stream

if TYPE_CHECKING:
    from trainer.harp import Harp
    from trainer.practice import HarpMeasured, Plan
    from trainer.reedcare import HarpWatch
    from trainer.sound import SourceSpec
    from trainer.store import Journal, OwnHarp

CHART = "chart"
MAX_PLOT_WIDTH, MAX_PLOT_HEIGHT = 100, 20
"""Maximum width and height of a plot in character cells."""


class _ChartFirst(TyperGroup):
    """A group in which the command name ``chart`` may be left out."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Insert ``chart`` unless the first word is a command, or looks like a misspelt one."""
        first, *rest = args or [""]
        misspelt = bool(rest) and not rest[0].startswith("-") and self._like(first)
        if first not in (*self.commands, "--help") and not misspelt:
            args = [CHART, *args]
        return super().parse_args(ctx, args)

    def _like(self, word: str) -> bool:
        return bool(difflib.get_close_matches(word, self.commands, cutoff=0.7))


app = typer.Typer(
    cls=_ChartFirst,
    help="Charts of harps ('trainer harp C'); measure your own harps and watch their reeds.",
)
NameArgument = Annotated[str, typer.Argument(help="Name of your harp, such as 'old C'.")]
PlainOption = Annotated[bool, typer.Option("--plain", help="Lines only, without the live reading.")]


@app.command(CHART)
def harp(
    key: Annotated[
        str | None,
        typer.Argument(
            metavar="HARP",
            help="Key (C, Bb, 'low F' or LF, 'high G', 'double-low F'), or the name of your harp.",
        ),
    ] = None,
    song: Annotated[
        str | None, typer.Option(help="Key of a song, such as A, Bb or F#m.", metavar="KEY")
    ] = None,
    position: Annotated[
        int | None,
        typer.Option(
            help="1 to 12. [default: 1, or the position in which the harp plays the song]"
        ),
    ] = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: Annotated[
        list[str] | None,
        typer.Option(help="Shift the target of a tab entry. May be repeated.", metavar="TAB=CENTS"),
    ] = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Show what a harp can play, or which harp plays a song.

    With a HARP: tab, note, scale degree and frequency of each note.

    With --song only: the harp to use for the song in that position, and in the others.

    With both: the chart of the harp in the position in which it plays the song.

    The word chart may be left out, as in trainer harp C.

    Examples:

      trainer harp chart C --position 2

      trainer harp chart "low F" --tuning raised-third-blow --temperament just7 --offset=-3=-6

      trainer harp chart --song A --position 2
    """
    from trainer.harp import HarpError, load_tuning
    from trainer.report.harp_chart import (
        Chart,
        chart_data,
        chart_text,
        harp_choices_data,
        harp_choices_text,
        usual_position,
    )

    if key is not None:
        selected, _ = harp_from_options(key, tuning, temperament, a4, offset)
        chart = Chart.of(selected, _position(selected, song, position))
        answer = chart_text(chart) if format_ is Format.TEXT else _json(chart_data(chart))
    elif song is not None:
        song_tuning = load_tuning(tuning or player_settings().harp.tuning)
        request = (
            song,
            usual_position(song, song_tuning) if position is None else position,
            song_tuning,
        )
        answer = (
            harp_choices_text(*request)
            if format_ is Format.TEXT
            else _json(harp_choices_data(*request))
        )
    else:
        raise HarpError("name a harp (trainer harp C) or the key of a song (trainer harp --song A)")
    typer.echo(answer)


def _position(selected: Harp, song: str | None, position: int | None) -> int:
    from trainer.harp import HarpError
    from trainer.music import parse_song_key, position_for, position_name

    if song is None:
        return 1 if position is None else position
    song_position = position_for(selected.key.tonic, parse_song_key(song))
    if position not in (None, song_position):
        raise HarpError(
            f"a {selected.key} harp plays a song in {song} in {position_name(song_position)} "
            "position; leave out --position to see that, or the harp's key to see which harp to use"
        )
    return song_position


def _json(data: Mapping[str, object]) -> str:
    return json.dumps(data, indent=2)


@app.command()
def measure(
    name: NameArgument,
    harp: Annotated[
        str | None,
        typer.Option(
            metavar="KEY", help="Key of the harp. [default: as measured before, else from settings]"
        ),
    ] = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    from_: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE", help="A recording of all reeds, in place of the microphone."
        ),
    ] = None,
    attacks: Annotated[
        int | None,
        typer.Option(help="Notes that are requested of each reed. [default: 2]", min=1, max=5),
    ] = None,
    device: DeviceOption = None,
    channel: ChannelOption = None,
    plain: PlainOption = False,
) -> None:
    """Measure each reed of your harp, step by step, and save the result under a name.

    A recording must hold each natural note for two seconds, once or more, in any order.

    Examples:

      trainer harp measure "old C" --harp C

      trainer harp measure "low one" --harp "low F" --from reeds.wav
    """
    from trainer.practice import ATTACKS, Plan
    from trainer.reedcare import check_harp_name, harp_to_measure, measured_harp
    from trainer.report.measuring_report import measuring_intro, measuring_summary
    from trainer.sound import RecordingSpec
    from trainer.store import HarpTag, Journal, OwnHarp

    name = check_harp_name(name)
    with Journal(player_journal()) as journal:
        nominal_harp = harp_to_measure(
            journal,
            player_settings(),
            name,
            key=harp,
            tuning=tuning,
            temperament_name=temperament,
            a4=a4,
        )
        if from_:
            source: SourceSpec = RecordingSpec(from_, channel)
        else:
            source = microphone_spec(device, None, channel, clicks=False)
            typer.echo(measuring_intro(nominal_harp))
        notes_per_reed = attacks or (1 if from_ else ATTACKS)
        measured = _measure(Plan(nominal_harp, source), notes_per_reed, live=not (plain or from_))
        own = OwnHarp(
            player_settings().player.name,
            name,
            HarpTag.of(nominal_harp, name),
            datetime.now(UTC),
            measured.reeds,
        )
        measured_harp(own)
        journal.add_harp(own)
        typer.echo(measuring_summary(measured))
        typer.echo(f"Saved as '{name}'; use it with --harp '{name}'.\n")
        _show(journal, name, temperament, Format.TEXT)


def _measure(plan: Plan, attacks: int, *, live: bool) -> HarpMeasured:
    """Measure a harp and print the steps as lines; in a terminal, also the live reading.

    Raises:
        typer.Exit: no reed was measured.
    """
    from trainer.practice import HarpMeasured, ReedRequested, ReedSounding, TakeFailed
    from trainer.practice import measure_harp as measuring
    from trainer.report.measuring_report import measuring_line, sounding_text
    from trainer.sound import MicrophoneSpec

    guided = isinstance(plan.source, MicrophoneSpec)
    now = live and sys.stdout.isatty()
    result, failed = HarpMeasured((), ()), None
    with catch_interrupts() as stopping, silence_libraries():
        for event in measuring(plan, attacks, stopping):
            if isinstance(event, HarpMeasured):
                result = event
            elif isinstance(event, TakeFailed):
                failed = event
            elif isinstance(event, ReedSounding):
                if now:
                    typer.echo(f"\r     {sounding_text(event):<60}", nl=False)
            elif guided or not isinstance(event, ReedRequested):
                line = measuring_line(event, plan.harp, guided=guided)
                if line is not None:
                    typer.echo(f"\r{'':<66}\r{line}" if now else line)
    if now:
        typer.echo()
    if failed is not None:
        typer.echo(failed.sentence, err=True)
    if not result.reeds:
        if failed is None:
            typer.echo("no reed was measured; nothing is saved", err=True)
            raise typer.Exit(ExitCode.FAILED)
        raise typer.Exit(ExitCode.NO_SOUND if failed.no_sound else ExitCode.BAD_INPUT)
    return result


@app.command("list")
def list_harps(format_: FormatOption = Format.TEXT) -> None:
    """List the harps you have measured.

    Example:

      trainer harp list
    """
    from trainer.reedcare import list_own_harps
    from trainer.report.own_harp_report import own_harps_data, own_harps_text
    from trainer.store import Journal

    with Journal(player_journal()) as journal:
        harps = list_own_harps(journal, player_settings().player.name)
    if format_ is Format.JSON:
        write_json(own_harps_data(harps))
    else:
        typer.echo(own_harps_text(harps, date.today()))


@app.command()
def show(
    name: NameArgument,
    temperament: TemperamentOption = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Show how your harp is tuned, reed by reed, and how its octaves beat.

    Example:

      trainer harp show "old C" --temperament just5
    """
    from trainer.store import Journal

    with Journal(player_journal()) as journal:
        _show(journal, name, temperament, format_)


def _show(journal: Journal, name: str, temperament: str | None, format_: Format) -> None:
    from trainer.report.own_harp_report import own_harp_data, own_harp_text

    own = _named(journal, name)
    if format_ is Format.JSON:
        write_json(own_harp_data(own, temperament))
    else:
        typer.echo(own_harp_text(own, temperament, date.today()))


def _named(journal: Journal, name: str) -> OwnHarp:
    from trainer.reedcare import find_own_harp, list_own_harps

    return find_own_harp(list_own_harps(journal, player_settings().player.name), name)


@app.command()
def forget(name: NameArgument) -> None:
    """Forget a harp; takes on it stay in the journal.

    Example:

      trainer harp forget "old C"
    """
    from trainer.reedcare import forget_own_harp
    from trainer.store import Journal

    with Journal(player_journal()) as journal:
        own = _named(journal, name)
        forget_own_harp(journal, own)
    typer.echo(f"Deleted '{own.name}'; its takes stay in the journal.")


@app.command()
def watch(
    name: Annotated[
        str | None, typer.Argument(help="Name of your harp. [default: a summary of all]")
    ] = None,
    reed: Annotated[
        str | None,
        typer.Option(metavar="TAB", help="Reed to plot. [default: the one that changed most]"),
    ] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Without the plot.")] = False,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Show which reeds have gone flat relative to the others, from everyday practice.

    Uses the takes that were played with --harp NAME.

    Examples:

      trainer harp watch

      trainer harp watch "old C" --reed=-5
    """
    from trainer.harp import HarpError, Tab
    from trainer.reedcare import list_own_harps, watch_harp
    from trainer.report.own_harp_report import own_harps_text
    from trainer.report.reed_watch_report import reed_watch_data, reed_watch_text, reed_watches_text
    from trainer.store import Journal

    with Journal(player_journal()) as journal:
        if name is None:
            harps = list_own_harps(journal, player_settings().player.name)
            watches = [watch_harp(journal, own) for own in harps]
        else:
            watches = [watch_harp(journal, _named(journal, name))]
    if format_ is Format.JSON:
        write_json([reed_watch_data(entry) for entry in watches])
    elif name is not None:
        (harp_watch,) = watches
        tab = None if reed is None else Tab.parse(reed)
        if tab is not None and harp_watch.reed(tab) is None:
            raise HarpError(
                f"{tab} was never played on '{harp_watch.harp.name}'; the reeds that were: "
                f"{', '.join(str(history.tab) for history in harp_watch.reeds) or 'none'}"
            )
        typer.echo(reed_watch_text(harp_watch, date.today()))
        if not plain:
            _plot(harp_watch, tab)
    elif watches:
        typer.echo(reed_watches_text(watches, date.today()))
    else:
        typer.echo(own_harps_text((), date.today()))


def _plot(watch: HarpWatch, tab: Any) -> None:
    """Plot the history of a reed, if the output is a UTF-8 terminal."""
    from trainer.report.progress_plots import color_allowed
    from trainer.report.reed_plot import reed_plot_text

    played = [reed for reed in watch.reeds if reed.days]
    if not played or not (sys.stdout.isatty() and "utf" in (sys.stdout.encoding or "").lower()):
        return
    changed = max(played, key=lambda reed: reed.change.z_score if reed.change else 0.0)
    chosen = changed if tab is None else watch.reed(tab)
    if chosen is None or not chosen.days:
        return
    width, height = shutil.get_terminal_size()
    size = min(width - 1, MAX_PLOT_WIDTH), max(min(height - 4, MAX_PLOT_HEIGHT), 8)
    plot = reed_plot_text(chosen, date.today(), *size, color=color_allowed())
    typer.echo("\n" + plot, file=raw_stream(sys.stdout))  # has colours
