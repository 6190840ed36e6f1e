"""``trainer play`` and ``trainer demo``: play a drill and have it marked."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import (
    A4Option,
    ChannelOption,
    DeviceOption,
    HarpOption,
    LatencyOption,
    OffsetOption,
    OutputOption,
    PartOption,
    TemperamentOption,
    TempoOption,
    ToleranceOption,
    TuningOption,
    count_in_beats,
    harp_from_options,
    microphone_spec,
    player_journal,
    player_settings,
    sound_mb,
)

if TYPE_CHECKING:
    from trainer.drill import Drill
    from trainer.practice import Plan

DrillArgument = Annotated[str, typer.Argument(help="Name of a drill, or path of a drill file.")]
PlainOption = Annotated[
    bool, typer.Option("--plain", help="Lines of text instead of the live screen.")
]
SaveOption = Annotated[Path | None, typer.Option(help="Save the audio of the take as a FLAC file.")]
DEMO_DRILL = "harbour-bell"


def play(
    drill: DrillArgument,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    temperament: TemperamentOption = None,
    a4: A4Option = None,
    offset: OffsetOption = None,
    tempo: TempoOption = None,
    tolerance: ToleranceOption = None,
    bars: Annotated[
        str | None,
        typer.Option(help="Bars, such as 3-4, or a section of the drill. [default: all]"),
    ] = None,
    loop: Annotated[
        bool | None,
        typer.Option(help="Repeat until stopped. [default: from the drill]"),
    ] = None,
    part: PartOption = 1,
    count_in: Annotated[
        int | None,
        typer.Option(
            help="Beats of count-in. [default: from settings, else one bar]", min=1, max=16
        ),
    ] = None,
    device: DeviceOption = None,
    output: OutputOption = None,
    channel: ChannelOption = None,
    latency: LatencyOption = None,
    click: Annotated[
        bool | None,
        typer.Option(
            "--click/--no-click",
            help="Play a click on each beat. [default: from settings, else on]",
        ),
    ] = None,
    ground: Annotated[
        bool | None,
        typer.Option(
            "--ground/--no-ground",
            help="Play the chords or bass of the drill. [default: from settings, else on]",
        ),
    ] = None,
    follow: Annotated[
        bool | None,
        typer.Option(
            "--follow/--no-follow",
            help="Play in your own time, without a click. Stop, go back, repeat or skip: you are "
            "followed. [default: from settings, else off]",
        ),
    ] = None,
    recording: Annotated[
        bool,
        typer.Option(
            "--recording/--no-recording",
            help="Play the recording that the drill names, in its own time. [default: on]",
            show_default=False,
        ),
    ] = True,
    fade: Annotated[
        float | None,
        typer.Option(
            metavar="DB",
            help="Turn down the harp in that recording. [default: from the drill, else 0]",
            min=0,
            max=60,
        ),
    ] = None,
    player: Annotated[bool, typer.Option("--player", help="Let the built-in player play.")] = False,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            help="Fault of the built-in player, such as 3:cents=-18,leak_db=-12 for step 3. May be "
            "repeated.",
            metavar="STEP:FAULTS",
        ),
    ] = None,
    save: SaveOption = None,
    plain: PlainOption = False,
) -> None:
    """Play a drill and have it marked.

    Examples:

      trainer play half-step-on-four --harp A

      trainer play harbour-bell --bars 1-2 --loop --tempo 70

      trainer play harbour-bell --follow

      trainer play harbour-bell --player --fault 2:cents=-18 --save take.flac --plain
    """
    from trainer.drill import DrillError, find_drill
    from trainer.harp import Harp
    from trainer.practice import Plan, follow_obstacle
    from trainer.sound import PlayerSpec, SoundError, SourceSpec, parse_fault

    if follow and (click or loop):
        raise typer.BadParameter("--follow has no click and no loop; leave --click and --loop out")
    drill_part = find_drill(drill).part(part)
    if follow or not recording:
        drill_part = replace(drill_part, recording=None)
    if fade is not None:
        drill_part = _faded(drill_part, fade)
    if follow and (obstacle := follow_obstacle(drill_part)):
        raise DrillError(f"{obstacle}; play it without --follow")
    if follow is None:
        follow = player_settings().practice.follow and not (click or loop)
    source: SourceSpec
    if player:
        faults = dict(parse_fault(text) for text in fault or ())
        source = PlayerSpec(faults=faults)
    elif fault:
        raise SoundError("--fault needs the built-in player; add --player")
    else:
        source = microphone_spec(device, output, channel, latency, clicks=click, ground=ground)
    written_for = Harp.of(drill_part.key, drill_part.tuning)
    selected, name = harp_from_options(
        harp, tuning, temperament, a4, offset, written_for=written_for
    )
    plan = Plan(
        selected,
        source,
        drill=drill_part,
        tempo=tempo,
        bars=_bars(bars, drill_part),
        loop=loop,
        count_in=count_in_beats(count_in),
        follow=follow,
        save=save,
        journal=None if player else player_journal(),
        player=player_settings().player.name,
        harp_name=name,
        sound_mb=sound_mb(),
        tolerance=tolerance,
    )
    _run(plan, plain)


def demo(
    drill: DrillArgument = DEMO_DRILL,
    harp: HarpOption = None,
    save: SaveOption = None,
    plain: PlainOption = False,
) -> None:
    """Let the built-in player perform a drill with typical faults, and mark it.

    Example:

      trainer demo
    """
    from trainer.drill import find_drill
    from trainer.harp import Harp
    from trainer.practice import Plan, typical_faults
    from trainer.sound import PlayerSpec

    drill_part = find_drill(drill)
    selected = Harp.of(harp or drill_part.key, drill_part.tuning)
    source = PlayerSpec(faults=typical_faults(drill_part))
    _run(Plan(selected, source, drill=drill_part, save=save), plain)


def _faded(drill: Drill, by_db: float) -> Drill:
    if drill.recording is None:
        raise typer.BadParameter(f"--fade needs a recording, and {drill.name} names none")
    return replace(drill, recording=replace(drill.recording, fade_db=by_db))


def _run(plan: Plan, plain: bool) -> None:
    """Run a plan in the app, or in line mode where there is no terminal."""
    from trainer.cli.screen import can_show_screen, run_app
    from trainer.sound import PlayerSpec, VoiceKind

    if plain or not can_show_screen():
        from trainer.cli.plain import play_plain

        play_plain(plan.at_present_tolerance())
        return
    if isinstance(plan.source, PlayerSpec):
        plan = replace(
            plan, source=replace(plan.source, realtime=True, aloud=True, voice=VoiceKind.NATURAL)
        )
    run_app(plan, autostart=True)


def _bars(text: str | None, drill: Drill) -> tuple[int, int] | None:
    if text is None:
        return None
    match = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", text.strip())
    if not match:
        if drill.sections:
            return drill.section(text)
        raise typer.BadParameter(f"'{text}' is not a range of bars; write 3-4, or 3 for one bar")
    return int(match[1]), int(match[2] or match[1])
