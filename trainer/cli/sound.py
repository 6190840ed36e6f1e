"""``trainer sound``: list audio devices, check a microphone, calibrate the latency."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import (
    ChannelOption,
    DeviceOption,
    Format,
    FormatOption,
    OutputOption,
    microphone_spec,
    player_journal,
    write_json,
)
from trainer.cli.terminal_guard import silence_libraries

if TYPE_CHECKING:
    from trainer.sound import Device, Echo, MicrophoneCheck

CHECK_S = 7.0
"""Length of the check of a microphone, in seconds: silence, a held note, silence."""
app = typer.Typer(help="Audio devices: list them, check a microphone, calibrate the latency.")


@app.command("list")
def list_devices(format_: FormatOption = Format.TEXT) -> None:
    """List audio inputs and outputs with their numbers.

    Example:

      trainer sound list
    """
    from trainer.sound import find_devices

    with silence_libraries():
        all_devices = find_devices()
    if format_ is Format.JSON:
        from trainer.report.sound_report import device_data

        typer.echo(json.dumps([device_data(device) for device in all_devices], indent=2))
    elif all_devices:
        for device in all_devices:
            typer.echo(_line(device))
    else:
        typer.echo("this computer has no audio inputs or outputs")


def _line(device: Device) -> str:
    ways = [f"{device.inputs} in"] * bool(device.inputs)
    ways += [f"{device.outputs} out"] * bool(device.outputs)
    default = ["default input"] * device.is_default_input
    default += ["default output"] * device.is_default_output
    name = f"{device.number:3}  {device.name} ({device.host})"
    return "; ".join([name, ", ".join(ways), f"{device.rate} Hz", *default])


@app.command()
def check(
    device: Annotated[
        str | None,
        typer.Option(help="Microphone: its name, part of it, or number. [default: from settings]"),
    ] = None,
    output: OutputOption = None,
    channel: Annotated[
        int | None,
        typer.Option(help="Input channel, from 1. [default: the first two channels, mixed]", min=1),
    ] = None,
    clicks: Annotated[
        bool,
        typer.Option("--clicks/--no-clicks", help="Play clicks at the end, to measure their echo."),
    ] = True,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Listen for seven seconds, play five clicks, and report whether the microphone is suitable.

    Be quiet for two seconds, hold one note for three, and be quiet until the clicks end. So
    automatic gain, noise suppression, other sound in the room and the echo of the loudspeaker are
    recognised, too.

    Example:

      trainer sound check --device usb
    """
    from trainer.sound import check_microphone

    def ask() -> None:
        end = "until the clicks end" if clicks else "again"
        typer.echo(f"Be quiet for 2 s, hold one note for 3 s, and be quiet {end}.", err=True)

    spec = microphone_spec(device, output, channel, clicks=clicks)
    with silence_libraries():
        result = check_microphone(spec, CHECK_S, ask)
    if format_ is Format.JSON:
        from trainer.report.sound_report import microphone_check_data

        write_json(microphone_check_data(result))
    else:
        typer.echo(_report(result))
    if result.advice:
        raise typer.Exit(ExitCode.FAILED)


def _report(result: MicrophoneCheck) -> str:
    lines = [
        f"{result.name}: {result.rate} Hz, {result.seconds:.1f} s recorded",
        f"loudest {result.level_db:.0f} dB, quietest {result.floor_db:.0f} dB re full scale",
        f"clipped in {result.clipped} places, {result.lost} samples lost, "
        f"{result.overflows} overflows reported by the driver",
    ]
    if result.echo is not None:
        lines.append(_echo_line(result.echo))
    lines += result.advice or ["The microphone is suitable."]
    return "\n".join(lines)


def _echo_line(echo: Echo) -> str:
    line = (
        f"the loudspeaker's clicks come back after {echo.delay_ms:.0f} ms at {echo.level_db:.0f} dB"
    )
    if echo.below_note_db is None:
        return line
    where = "below" if echo.below_note_db >= 0.0 else "above"
    return f"{line}, {abs(echo.below_note_db):.0f} dB {where} your note"


@app.command()
def calibrate(
    device: DeviceOption = None,
    output: OutputOption = None,
    channel: ChannelOption = None,
    latency: Annotated[
        float | None,
        typer.Option(
            "--latency",
            metavar="MS",
            help="Store this round-trip latency instead of measuring it.",
            min=0,
            max=2000,
        ),
    ] = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Measure the round-trip latency from click to microphone, so that timing is marked fairly.

    Plays twelve clicks, detects them at the microphone, and stores the latency for this pair of
    devices. Timing is then measured from the moment you hear the click.

    Examples:

      trainer sound calibrate

      trainer sound calibrate --device usb --latency 42
    """
    from trainer.report.calibration_report import calibration_text
    from trainer.sound import device_pair
    from trainer.sound import measure_round_trip as play_clicks
    from trainer.store import Journal, save_manual_latency, save_round_trip

    spec = microphone_spec(device, output, channel, clicks=True)
    trip = None
    with Journal(player_journal()) as journal, silence_libraries():
        if latency is not None:
            calibration = save_manual_latency(journal, device_pair(spec), latency)
        else:
            typer.echo(_CALIBRATION_NOTICE, err=True)
            pair, trip = play_clicks(spec)
            calibration = save_round_trip(journal, pair, trip)
    if format_ is Format.JSON:
        from trainer.report.sound_report import calibration_data

        write_json(calibration_data(calibration, trip))
    else:
        typer.echo(calibration_text(calibration, trip))


_CALIBRATION_NOTICE = (
    "Twelve clicks play for ten seconds. Set a moderate level first. Take headphones off and "
    "hold one earpiece to the microphone. Keep quiet until they end."
)
