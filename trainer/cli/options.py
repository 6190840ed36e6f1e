"""Options that more than one command takes."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from trainer.harp import Harp
    from trainer.sound import MicrophoneSpec


class Format(StrEnum):
    """How an answer is written."""

    TEXT = "text"
    JSON = "json"


FormatOption = Annotated[Format, typer.Option("--format", help="How to write it.")]
HarpOption = Annotated[
    str | None,
    typer.Option("--harp", metavar="KEY", help="Key of the harp: C, Bb, 'low F' (or LF)."),
]
TuningOption = Annotated[str | None, typer.Option(help="Name of the harp's tuning.")]
TemperamentOption = Annotated[
    str | None, typer.Option(help="equal, just5 or just7; default: equal.")
]
A4Option = Annotated[float | None, typer.Option("--a4", help="Hz of A4, 400 to 480; default: 440.")]
OffsetOption = Annotated[
    list[str] | None,
    typer.Option(help="Your own cents for a tab entry; may be repeated.", metavar="TAB=CENTS"),
]
TempoOption = Annotated[
    float | None, typer.Option(help="Beats a minute; default: the drill's.", min=20, max=300)
]
ChannelOption = Annotated[
    int | None, typer.Option(help="1 for the first; default: all, mixed.", min=1)
]
DeviceOption = Annotated[
    str | None, typer.Option(help="Microphone: name, part of it, or number; see 'sound list'.")
]
OutputOption = Annotated[
    str | None, typer.Option(help="Where clicks go: name, part of it, or number.")
]
LatencyOption = Annotated[
    float | None,
    typer.Option(
        "--latency",
        metavar="MS",
        help="Round trip from click to microphone; default: what the driver says.",
        min=0,
        max=2000,
    ),
]
PartOption = Annotated[
    int, typer.Option(help="Which part is yours, where a drill has two.", min=1, max=2)
]
RecordingArgument = Annotated[Path, typer.Argument(help="WAV, FLAC, OGG or MP3.")]


def harp_of(
    key: str | None,
    tuning: str | None,
    temperament: str | None,
    a4: float | None,
    offset: list[str] | None,
    *,
    base: Harp | None = None,
) -> Harp:
    """The harp that the options name; what they leave out is as on `base`, or a C harp.

    Raises:
        HarpError, MusicError: there is no such harp.
    """
    from trainer.harp import Harp, parse_offsets

    base = base or Harp.of()
    return Harp.of(
        key or base.key.name,
        tuning or base.tuning.name,
        a4=base.a4 if a4 is None else a4,
        temperament_name=temperament or base.temperament.name,
        offsets=parse_offsets(offset)
        if offset
        else {str(tab): cents for tab, cents in base.offsets.items()},
    )


def microphone(
    device: str | None,
    output: str | None,
    channel: int | None = None,
    latency: float | None = None,
    *,
    clicks: bool = True,
) -> MicrophoneSpec:
    """The microphone that the options name."""
    from trainer.sound import MicrophoneSpec

    return MicrophoneSpec(
        device=device, output=output, channel=channel, latency_ms=latency, clicks=clicks
    )


def write_json(data: Any) -> None:
    """Print data as JSON."""
    typer.echo(json.dumps(data, indent=2))
