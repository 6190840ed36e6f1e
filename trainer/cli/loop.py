"""``trainer loop``: play a passage of a recording in a loop, at another speed or pitch."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import (
    ChannelOption,
    DeviceOption,
    HarpOption,
    LatencyOption,
    OutputOption,
    RecordingArgument,
    TuningOption,
    check_passage,
    harp_from_options,
    microphone_spec,
)

if TYPE_CHECKING:
    from trainer.sound import Passage

DEFAULT_LENGTH_S = 10.0
"""Length of the passage in seconds without --to. Chosen."""


def loop(
    recording: RecordingArgument,
    from_: Annotated[
        float, typer.Option("--from", metavar="SECOND", help="Start of the passage.", min=0.0)
    ] = 0.0,
    to: Annotated[
        float | None,
        typer.Option(
            metavar="SECOND",
            help="End of the passage. [default: 10 seconds later, or the end of the recording]",
        ),
    ] = None,
    speed: Annotated[
        float, typer.Option(help="Speed in percent of the recording's.", min=40, max=120)
    ] = 70,
    half_steps: Annotated[
        float, typer.Option(help="Transpose by this many half steps.", min=-24, max=24)
    ] = 0,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    played_on: Annotated[
        str | None,
        typer.Option(
            metavar="KEY", help="Key of the recorded harp; the passage is transposed to your harp."
        ),
    ] = None,
    count_in: Annotated[
        int, typer.Option(help="Beats of count-in before the first round.", min=0, max=16)
    ] = 4,
    tempo: Annotated[
        float,
        typer.Option(help="Tempo of the count-in in beats per minute.", min=20, max=300),
    ] = 90,
    listen: Annotated[
        bool, typer.Option(help="Listen to your playing while the loop plays.")
    ] = True,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Write one round to a WAV or FLAC file, and play nothing."
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    device: DeviceOption = None,
    output: OutputOption = None,
    channel: ChannelOption = None,
    latency: LatencyOption = None,
    plain: Annotated[
        bool, typer.Option("--plain", help="Lines of text instead of the live screen.")
    ] = False,
) -> None:
    """Loop a passage of a recording, slower or faster, at its pitch or transposed.

    On the live screen, keys change the ends, speed and pitch while the loop plays, and your playing
    is measured. Use headphones at a moderate level.

    Examples:

      trainer loop phrase.wav --from 12.5 --to 18 --speed 60

      trainer loop phrase.wav --played-on Bb --harp A
    """
    from trainer.cli.screen import can_show_screen
    from trainer.harp import parse_key
    from trainer.practice import Plan
    from trainer.sound import Passage, Recording, validate_passage

    check_passage(from_, to)
    opened = Recording(recording, channel)
    frames, rate = opened.frames, opened.rate
    opened.close()
    length = None if frames is None else frames / rate
    last = to if to is not None else from_ + DEFAULT_LENGTH_S
    if to is None and length is not None:
        last = min(last, length)
    selected, name = harp_from_options(harp, tuning, *(None,) * 3)
    moved = 0.0
    if played_on is not None:
        moved = float(parse_key(played_on).half_steps_to(selected.key))
    passage = Passage(
        recording,
        from_,
        last,
        speed / 100.0,
        half_steps or moved,
        channel,
        tempo,
        count_in,
    )
    validate_passage(passage)
    if out is not None:
        _write(passage, out, force=force)
        return
    # clicks=True: the passage needs an output, even where the settings turn clicks off.
    source = microphone_spec(device, output, latency=latency, clicks=True)
    if not listen:
        _play(passage, source.output)
        return
    plan = Plan(selected, source, harp_name=name)
    if plain or not can_show_screen():
        _play_plain(plan, passage)
        return
    from trainer.cli.screen import run_app

    run_app(plan, loop=(passage, moved))


def _write(passage: Passage, out: Path, *, force: bool) -> None:
    import numpy as np
    import soundfile

    from trainer.cli.options import check_overwrite
    from trainer.core import TrainerError
    from trainer.sound import render_passage

    check_overwrite(out, force=force)
    rendered = render_passage(passage)
    try:
        soundfile.write(out, np.concatenate([rendered.lead, rendered.samples]), rendered.rate)
    except (OSError, ValueError, TypeError, soundfile.SoundFileError) as error:
        raise TrainerError(f"{out} cannot be written ({error}); use the extension .wav") from None
    typer.echo(f"Wrote {out}: {passage.lead_s + passage.seconds:.1f} s.", err=True)


def _play(passage: Passage, output: str | int | None) -> None:
    """Play the passage until Ctrl-C, without listening."""
    from trainer.cli.terminal_guard import catch_interrupts, silence_libraries
    from trainer.report.take_lines import passage_text
    from trainer.sound import play_passage

    typer.echo(f"{passage_text(passage)} Ctrl-C stops.")
    with silence_libraries(), catch_interrupts() as stopping:
        play_passage(passage, output, stopping)


def _play_plain(plan: object, passage: Passage) -> None:
    """Loop the passage in line mode; typed lines change it."""
    from trainer.cli.plain import console_events
    from trainer.core.system import read_typed_line
    from trainer.practice import Command, Plan, PlayLoop
    from trainer.report.take_lines import TakeLines

    assert isinstance(plan, Plan)
    pending: list[Command] = [PlayLoop(passage)]
    now = passage
    typer.echo(HINT)

    def next_command() -> Command | None:
        nonlocal now
        line = read_typed_line()
        if line is not None:
            changed = apply_typed_change(now, line)
            if changed is None:
                typer.echo(f"'{line}' was not understood. {HINT}")
            else:
                now = changed
                pending.append(PlayLoop(now))
        return pending.pop(0) if pending else None

    lines = TakeLines(plan)
    for event in console_events(plan, next_command):
        for line in lines.lines(event):
            typer.echo(line)


HINT = (
    "Type and press Enter: 60% for the speed, 12.5-18 for start and end, +2 or -3 for half steps; "
    "Ctrl-C stops."
)


def apply_typed_change(passage: Passage, line: str) -> Passage | None:
    """Return a passage changed by a typed line; None if the line is not understood."""
    import re

    from trainer.sound import SoundError, validate_passage

    text = line.strip()
    if match := re.fullmatch(r"(\d+(?:\.\d+)?)\s*%", text):
        changed = replace(passage, speed=float(match[1]) / 100.0)
    elif match := re.fullmatch(r"(\d+(?:\.\d+)?)\s*-\s*(\d+(?:\.\d+)?)", text):
        changed = replace(passage, first=float(match[1]), last=float(match[2]))
    elif match := re.fullmatch(r"[+-]\d+(?:\.\d+)?", text):
        changed = replace(passage, half_steps=float(text))
    else:
        return None
    try:
        validate_passage(changed)
    except SoundError as error:
        typer.echo(str(error), err=True)
        return passage
    return changed
