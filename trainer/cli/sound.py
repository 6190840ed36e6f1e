"""`trainer sound`: the inputs and outputs at hand, and whether a microphone is fit."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.exit import Exit
from trainer.cli.options import Format, FormatOption
from trainer.cli.quiet import quiet_libraries

if TYPE_CHECKING:
    from trainer.sound.check import MicrophoneCheck
    from trainer.sound.devices import Device

app = typer.Typer(help="Inputs and outputs, and whether a microphone is fit.")


@app.command("list")
def list_devices(format_: FormatOption = Format.TEXT) -> None:
    """List inputs and outputs with their numbers.

    Example:

      trainer sound list
    """
    from trainer.sound.devices import devices

    with quiet_libraries():
        there = devices()
    if format_ is Format.JSON:
        typer.echo(json.dumps([asdict(device) for device in there], indent=2))
    elif there:
        for device in there:
            typer.echo(_line(device))
    else:
        typer.echo("this computer has no inputs or outputs")


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
        str | None, typer.Option(help="Name, part of a name or number; default: the system's.")
    ] = None,
    channel: Annotated[
        int | None, typer.Option(help="1 for the first; default: the first two, mixed.", min=1)
    ] = None,
    format_: FormatOption = Format.TEXT,
) -> None:
    """Listen for two seconds and say whether a microphone is fit.

    Example:

      trainer sound check --device usb
    """
    from trainer.sound import MicrophoneSpec
    from trainer.sound.check import check_microphone

    with quiet_libraries():
        found = check_microphone(MicrophoneSpec(device=device, channel=channel, clicks=False))
    typer.echo(json.dumps(asdict(found), indent=2) if format_ is Format.JSON else _report(found))
    if found.advice:
        raise typer.Exit(Exit.FAILED)


def _report(found: MicrophoneCheck) -> str:
    lines = [
        f"{found.name}: {found.rate} samples a second, {found.seconds:.1f} s heard",
        f"loudest {found.level_db:.0f} dB, quietest {found.floor_db:.0f} dB re full scale",
        f"clipped in {found.clipped} places, {found.lost} samples lost, "
        f"{found.overflows} overflows reported by the driver",
    ]
    lines += found.advice or ["it is fit to listen through"]
    return "\n".join(lines)
