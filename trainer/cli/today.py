"""``trainer today``: show the daily set, and play it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import (
    ChannelOption,
    DeviceOption,
    Format,
    FormatOption,
    HarpOption,
    LatencyOption,
    OutputOption,
    count_in_beats,
    microphone_spec,
    player_settings,
    practice_journal,
    sound_mb,
    write_json,
)
from trainer.cli.terminal_guard import catch_interrupts, silence_libraries

if TYPE_CHECKING:
    from trainer.coach import DailySet, DrillTraits
    from trainer.harp import Harp
    from trainer.practice import (
        DayEvent,
        EntryStarted,
        Event,
        NextCommand,
        PlacementEnded,
        ShouldStop,
    )
    from trainer.settings import Settings
    from trainer.store import Journal


def today(
    minutes: Annotated[
        float | None,
        typer.Option(
            help="Length in minutes. [default: as before, else from settings]", min=1, max=480
        ),
    ] = None,
    player: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Name of the player. [default: from settings]"),
    ] = None,
    harp: HarpOption = None,
    go: Annotated[
        bool, typer.Option("--go", help="Play the remaining drills, one after another.")
    ] = False,
    focus: Annotated[
        str | None,
        typer.Option(
            metavar="NOTE or SKILL",
            help="Work on a tab entry (-3'') or a skill (rhythm) for a week; 'none' ends that.",
        ),
    ] = None,
    until: Annotated[
        datetime | None,
        typer.Option(
            formats=["%Y-%m-%d"],
            metavar="DATE",
            help="Last day of the focus. [default: in six days]",
        ),
    ] = None,
    place: Annotated[
        bool,
        typer.Option(
            "--place", help="Find your levels: play drills for about five minutes, then the set."
        ),
    ] = False,
    can: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SKILL", help="Name a skill that you have already; may be given several times."
        ),
    ] = None,
    device: DeviceOption = None,
    output: OutputOption = None,
    channel: ChannelOption = None,
    latency: LatencyOption = None,
    click: Annotated[
        bool | None,
        typer.Option(help="Play a click on each beat. [default: from settings, else on]"),
    ] = None,
    plain: Annotated[
        bool, typer.Option("--plain", help="One sentence per entry, without columns.")
    ] = False,
    format_: FormatOption = Format.TEXT,
    demo: Annotated[
        bool, typer.Option("--demo", hidden=True, help="Let the built-in player play.")
    ] = False,
) -> None:
    """Show today's set: a warm-up, drills that are due or weak, something new, and a tune.

    The set is made once a day. Any take of the day ticks off its drill, in any order; --minutes
    makes the rest of the set again. Ctrl-C stops, and --go resumes.

    Examples:

      trainer today

      trainer today --minutes 10 --go

      trainer today --focus "-3''"

      trainer today --place

      trainer today --can "half-step bends" --can rhythm
    """
    from trainer.coach import (
        PlacementTest,
        available_traits,
        open_daily_set,
        place_by_hand,
    )
    from trainer.drill import read_shelf
    from trainer.harp import Harp
    from trainer.practice import Plan, run_day, run_placement
    from trainer.reedcare import select_harp
    from trainer.report.daily_set_report import (
        daily_set_data,
        daily_set_sentences,
        daily_set_text,
        placement_text,
    )
    from trainer.sound import PlayerSpec
    from trainer.store import sources_that_count

    shelf, now, preferences = read_shelf(), date.today(), _settings_of(player)
    player_name, sources = preferences.player.name, sources_that_count(in_demo=demo)

    with practice_journal() as journal:

        def harp_for(written_for: Harp | None) -> tuple[Harp, str | None]:
            return select_harp(journal, preferences, harp, written_for=written_for)

        named = harp or preferences.harp.key or preferences.harp.name
        saved = journal.day(player_name, now)
        default_minutes = saved[0] if saved else preferences.practice.minutes
        length = default_minutes if minutes is None else minutes
        selected = harp_for(None)[0] if named else None

        def base() -> Plan:
            return Plan(
                Harp.of(),
                PlayerSpec()
                if demo
                else microphone_spec(device, output, channel, latency, clicks=click),
                count_in=count_in_beats(None),
                journal=journal.path,
                player=player_name,
                sound_mb=sound_mb(),
            )

        traits = partial(available_traits, journal, player_name, now, shelf, selected)
        if focus is not None or until is not None:
            _set_focus(journal, player_name, focus, until.date() if until else None, now, traits)
        if can:
            placements = place_by_hand(traits(), can, now)
            journal.save_placements(player_name, placements)
            typer.echo(placement_text(placements), err=True)
        if place:
            test = PlacementTest(traits())
            _place(partial(run_placement, test, base(), harp_for, now), journal, player_name)
        is_fresh = focus is not None or bool(can) or place
        day = open_daily_set(
            journal, player_name, now, length, shelf, selected, sources, is_fresh=is_fresh
        )
        if day.unsaved:
            typer.echo(f"{day.unsaved}; the set is not saved", err=True)
        if format_ is Format.TEXT:
            typer.echo(daily_set_sentences(day) if plain else daily_set_text(day, _width()))
        if go and day.left:
            drills = {drill.name: drill for drill in shelf.drills}
            events = partial(run_day, day, drills, base(), lambda entry: harp_for(entry.harp))
            day = _play(events, day, in_lines=format_ is Format.TEXT)
        if format_ is Format.JSON:
            write_json(daily_set_data(day))


def _set_focus(
    journal: Journal,
    player: str,
    name: str | None,
    until: date | None,
    today: date,
    traits: Callable[[], list[DrillTraits]],
) -> None:
    """Save, extend or end a player's focus, and report it on standard error.

    Raises:
        CoachError: the name is none of a tab entry or a skill, or no drill trains it.
    """
    from trainer.coach import FOCUS_DAYS, find_focus
    from trainer.report.formatting import day_text
    from trainer.store import Focus

    if name is not None and name.strip().casefold() == "none":
        journal.save_focus(player, None)
        typer.echo("No focus.", err=True)
        return
    known = journal.focus(player, today)
    if name is None and known is None:
        raise typer.BadParameter("there is no focus to extend; give --focus NOTE or SKILL, too")
    chosen = find_focus(name, traits()) if name is not None else known.name if known else ""
    last = until or today + timedelta(days=FOCUS_DAYS - 1)
    if last < today:
        raise typer.BadParameter(f"--until {last.isoformat()} is past")
    journal.save_focus(player, Focus(chosen, today, last))
    typer.echo(f"Focus until {day_text(last, today)}: {chosen}.", err=True)


def _place(
    events: Callable[[ShouldStop, NextCommand], Iterator[Event | EntryStarted | PlacementEnded]],
    journal: Journal,
    player: str,
) -> None:
    """Play a placement in line mode, and save its levels.

    Raises:
        typer.Exit: a take failed; the reason was printed on standard error.
    """
    from trainer.cli.typed_commands import TypedCommands
    from trainer.practice import Notice, PlacementEnded, TakeFailed
    from trainer.report.daily_set_report import DaySessionLines, placement_text

    lines, typed = DaySessionLines(_width()), TypedCommands()
    with silence_libraries(), catch_interrupts() as stopping:
        for event in events(stopping, typed):
            if isinstance(event, PlacementEnded):
                journal.save_placements(player, event.placements)
                typer.echo(placement_text(event.placements))
            elif isinstance(event, TakeFailed):
                typer.echo(event.sentence, err=True)
                raise typer.Exit(ExitCode.NO_SOUND if event.no_sound else ExitCode.BAD_INPUT)
            elif isinstance(event, Notice):
                typer.echo(event.sentence, err=True)
            else:
                typed.observe(event)
                for line in lines.lines(event):
                    typer.echo(line)


def _play(
    events: Callable[[ShouldStop, NextCommand], Iterator[Event | DayEvent]],
    day: DailySet,
    *,
    in_lines: bool,
) -> DailySet:
    """Play the daily set in line mode, and return it as it is afterwards.

    Raises:
        typer.Exit: a take failed; the reason was printed on standard error.
    """
    from trainer.cli.typed_commands import HINT, TypedCommands
    from trainer.practice import DayEnded, Notice, TakeFailed
    from trainer.report.daily_set_report import DaySessionLines

    lines, failed, typed = DaySessionLines(_width()), None, TypedCommands()
    if typed.is_enabled and in_lines:
        typer.echo(f"{HINT} Before a drill, Enter starts it at once.")
    with silence_libraries(), catch_interrupts() as stopping:
        for event in events(stopping, typed):
            typed.observe(event)
            if isinstance(event, TakeFailed):
                failed = event
            elif isinstance(event, Notice):
                typer.echo(event.sentence, err=True)
            elif in_lines:
                for line in lines.lines(event):
                    typer.echo(line)
            if isinstance(event, DayEnded):
                day = event.day
    if failed is not None:
        typer.echo(failed.sentence, err=True)
        raise typer.Exit(ExitCode.NO_SOUND if failed.no_sound else ExitCode.BAD_INPUT)
    return day


def _settings_of(player: str | None) -> Settings:
    """Return the settings, with another player's name if one is given."""
    preferences = player_settings()
    if player is None:
        return preferences
    return preferences.model_copy(
        update={"player": preferences.player.model_copy(update={"name": player})}
    )


def _width() -> int:
    """Return the width of the terminal in columns; 80 if there is none."""
    return shutil.get_terminal_size((80, 24)).columns
