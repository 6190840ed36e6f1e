"""``trainer loop``: a passage of a recording again and again, slowly, while you play along."""

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
    harp_from_options,
    microphone_spec,
)

if TYPE_CHECKING:
    from trainer.harp import Harp
    from trainer.sound.passage import Passage

USUAL_S = 10.0


def loop(
    recording: RecordingArgument,
    from_: Annotated[
        float, typer.Option("--from", metavar="SECOND", help="Where the passage begins.", min=0.0)
    ] = 0.0,
    to: Annotated[
        float | None,
        typer.Option(
            metavar="SECOND", help="Where it ends; default: 10 seconds later, or at the end."
        ),
    ] = None,
    speed: Annotated[
        float, typer.Option(help="Per cent of the recorded speed.", min=40, max=120)
    ] = 70,
    half_steps: Annotated[
        float, typer.Option(help="How much higher it is to sound.", min=-24, max=24)
    ] = 0,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    played_on: Annotated[
        str | None,
        typer.Option(
            metavar="KEY", help="The harp that was recorded; the pitch moves to that of yours."
        ),
    ] = None,
    count_in: Annotated[int, typer.Option(help="Beats before the first round.", min=0, max=16)] = 4,
    tempo: Annotated[
        float,
        typer.Option(help="Beats a minute of the recording, for the count-in.", min=20, max=300),
    ] = 90,
    listen: Annotated[
        bool, typer.Option(help="Whether you are listened to while you play along.")
    ] = True,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write one round to a WAV or FLAC file instead."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file.")] = False,
    device: DeviceOption = None,
    output: OutputOption = None,
    channel: ChannelOption = None,
    latency: LatencyOption = None,
    plain: Annotated[
        bool, typer.Option("--plain", help="Lines of text instead of the live screen.")
    ] = False,
) -> None:
    """Loop a passage of a recording, slower or faster, with its pitch kept or moved.

    On the live screen its ends, its speed and its pitch are changed by keys while it is heard, and
    what you play beside it is measured. Use headphones, at a moderate level.

    Examples:

      trainer loop phrase.wav --from 12.5 --to 18 --speed 60

      trainer loop phrase.wav --played-on Bb --harp A
    """
    from trainer.cli.screen import can_show_screen
    from trainer.practice import Plan
    from trainer.sound import Recording
    from trainer.sound.passage import Passage, validate_passage

    opened = Recording(recording, channel)
    frames, rate = opened.frames, opened.rate
    opened.close()
    length = None if frames is None else frames / rate
    last = to if to is not None else from_ + USUAL_S
    if to is None and length is not None:
        last = min(last, length)
    held, name = harp_from_options(harp, tuning, *(None,) * 3)
    moved = _between(played_on, held)
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
    # Clicks or not, an output is wanted.
    source = microphone_spec(device, output, latency=latency, clicks=True)
    if not listen:
        _play(passage, source.output)
        return
    plan = Plan(held, source, harp_name=name)
    if plain or not can_show_screen():
        _play_plain(plan, passage)
        return
    from trainer.cli.screen import run_app

    run_app(plan, loop=(passage, moved))


def _between(played_on: str | None, held: Harp) -> float:
    """Half steps from one harp up or down to another, the nearer way."""
    from trainer.harp import parse_key

    if played_on is None:
        return 0.0
    return float((held.key.tonic - parse_key(played_on).tonic + 5) % 12 - 5)


def _write(passage: Passage, out: Path, *, force: bool) -> None:
    import numpy as np
    import soundfile

    from trainer.cli.options import check_overwrite
    from trainer.core import TrainerError
    from trainer.sound.passage import render_passage

    check_overwrite(out, force=force)
    made = render_passage(passage)
    try:
        soundfile.write(out, np.concatenate([made.lead, made.samples]), made.rate)
    except (OSError, ValueError, TypeError, soundfile.SoundFileError) as error:
        raise TrainerError(f"{out} cannot be written ({error}); end its name in .wav") from None
    typer.echo(f"Wrote {out}: {passage.lead_s + passage.seconds:.1f} s.", err=True)


def _play(passage: Passage, output: str | int | None) -> None:
    """Let it be heard until Ctrl-C; nobody listens."""
    from trainer.cli.terminal_guard import catch_interrupts, silence_libraries
    from trainer.report.take_lines import passage_text
    from trainer.sound.passage import play_passage

    typer.echo(f"{passage_text(passage)} Ctrl-C ends it.")
    with silence_libraries(), catch_interrupts() as stopping:
        play_passage(passage, output, stopping)


def _play_plain(plan: object, passage: Passage) -> None:
    """Told in lines; what is typed changes it."""
    from trainer.cli.plain import console_events
    from trainer.cli.typed_commands import read_line
    from trainer.practice import Command, Plan, PlayLoop
    from trainer.report.take_lines import TakeLines

    assert isinstance(plan, Plan)
    wishes: list[Command] = [PlayLoop(passage)]
    now = passage
    typer.echo(HINT)

    def asked() -> Command | None:
        nonlocal now
        line = read_line()
        if line is not None:
            changed = apply_typed_change(now, line)
            if changed is None:
                typer.echo(f"'{line}' is no wish. {HINT}")
            else:
                now = changed
                wishes.append(PlayLoop(now))
        return wishes.pop(0) if wishes else None

    lines = TakeLines(plan)
    for event in console_events(plan, asked):
        for line in lines.lines(event):
            typer.echo(line)


HINT = (
    "Type and press Enter: 60% for the speed, 12.5-18 for the ends, +2 or -3 for half steps; "
    "Ctrl-C ends it."
)


def apply_typed_change(passage: Passage, line: str) -> Passage | None:
    """A passage as a typed line wants it; None where it says nothing that can be heard."""
    import re

    from trainer.sound import SoundError
    from trainer.sound.passage import validate_passage

    text = line.strip()
    if found := re.fullmatch(r"(\d+(?:\.\d+)?)\s*%", text):
        wanted = replace(passage, speed=float(found[1]) / 100.0)
    elif found := re.fullmatch(r"(\d+(?:\.\d+)?)\s*-\s*(\d+(?:\.\d+)?)", text):
        wanted = replace(passage, first=float(found[1]), last=float(found[2]))
    elif found := re.fullmatch(r"[+-]\d+(?:\.\d+)?", text):
        wanted = replace(passage, half_steps=float(text))
    else:
        return None
    try:
        validate_passage(wanted)
    except SoundError as error:
        typer.echo(str(error), err=True)
        return passage
    return wanted
