"""Options and helpers that several commands share."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from enum import StrEnum
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from trainer.harp import Harp
    from trainer.settings import Settings
    from trainer.sound import MicrophoneSpec
    from trainer.store import Journal


class Format(StrEnum):
    """Output formats."""

    TEXT = "text"
    JSON = "json"


FormatOption = Annotated[Format, typer.Option("--format", help="Output format.")]
HarpOption = Annotated[
    str | None,
    typer.Option(
        "--harp",
        metavar="KEY",
        help="Key of the harp (C, Bb, 'low F' or LF), or the name of a harp you have measured.",
    ),
]
TuningOption = Annotated[
    str | None,
    typer.Option(
        help="Tuning of the harp: richter, country, solo, natural-minor, ...; half-valved, or "
        "solo-half-valved and so on."
    ),
]
TemperamentOption = Annotated[
    str | None,
    typer.Option(
        help="equal; just5 or just7; half-just5 or half-just7, between them; just5-bends or "
        "just7-bends, where bends follow, too. [default: from settings, else equal]"
    ),
]
A4Option = Annotated[
    float | None,
    typer.Option(
        "--a4", help="Reference pitch in Hz, 400 to 480. [default: from settings, else 440]"
    ),
]
OffsetOption = Annotated[
    list[str] | None,
    typer.Option(help="Shift the target of a tab entry. May be repeated.", metavar="TAB=CENTS"),
]
TempoOption = Annotated[
    float | None,
    typer.Option(help="Beats per minute. [default: the drill's tempo]", min=20, max=300),
]
ToleranceOption = Annotated[
    float | None,
    typer.Option(
        metavar="CENTS",
        help="Cents within which a note is in tune. [default: what the player has reached]",
        min=1,
        max=50,
    ),
]
ChannelOption = Annotated[
    int | None,
    typer.Option(help="Input channel, from 1. [default: all channels, mixed]", min=1),
]
DeviceOption = Annotated[
    str | None,
    typer.Option(help="Microphone: its name, part of it, or number (see 'trainer sound list')."),
]
OutputOption = Annotated[
    str | None,
    typer.Option(help="Output for clicks and playback: its name, part of it, or number."),
]
LatencyOption = Annotated[
    float | None,
    typer.Option(
        "--latency",
        metavar="MS",
        help="Round-trip latency. [default: from calibration, else as the driver reports]",
        min=0,
        max=2000,
    ),
]
PartOption = Annotated[
    int, typer.Option(help="Your part in a drill for two players.", min=1, max=2)
]
RecordingArgument = Annotated[Path, typer.Argument(help="WAV, FLAC, OGG or MP3.")]


def player_settings() -> Settings:
    """Return the player's settings; print their problems on standard error, once."""
    from trainer.settings import resolve_settings

    resolved = resolve_settings()
    if resolved.problems:
        _print_once("\n".join(resolved.problems))
    return resolved.settings


@cache
def _print_once(text: str) -> None:
    typer.echo(f"{text}\nthe defaults apply for these settings", err=True)


def override_harp(
    key: str | None,
    tuning: str | None,
    temperament: str | None,
    a4: float | None,
    offset: list[str] | None,
    *,
    base: Harp,
) -> Harp:
    """Return a harp with the values of the options; missing ones come from `base`.

    Raises:
        HarpError, MusicError: a value is invalid.
    """
    from trainer.harp import Harp, parse_offsets

    return Harp.of(
        key or base.key.name,
        tuning or base.tuning.name,
        a4=base.a4 if a4 is None else a4,
        temperament_name=temperament or base.temperament.name,
        offsets=parse_offsets(offset)
        if offset
        else {str(tab): cents for tab, cents in base.offsets.items()},
    )


def harp_from_options(
    text: str | None,
    tuning: str | None,
    temperament: str | None,
    a4: float | None,
    offset: list[str] | None,
    *,
    base: Harp | None = None,
    written_for: Harp | None = None,
) -> tuple[Harp, str | None]:
    """Return the selected harp, and its name if it is an own harp.

    Args:
        text: a key, or the name of an own harp.
        tuning: value of its option.
        temperament: value of its option.
        a4: value of its option, in hertz.
        offset: values of its option, an entry of tab and cents each.
        base: the harp of a saved take, unless `text` names another; the settings do not apply
            then.
        written_for: the harp of a drill, as in :func:`trainer.reedcare.select_harp`.

    Raises:
        HarpError, MusicError: there is no such harp, or a value is invalid.
    """
    from trainer.harp import parse_offsets
    from trainer.reedcare import select_harp

    if base is not None and text is None:
        return override_harp(text, tuning, temperament, a4, offset, base=base), None
    with open_player_journal() as journal:
        return select_harp(
            journal,
            player_settings(),
            text,
            tuning=tuning,
            temperament_name=temperament,
            a4=a4,
            offsets=parse_offsets(offset or ()),
            written_for=written_for,
        )


def player_journal() -> Path:
    """Return the path of the player's journal."""
    from trainer.store import journal_path

    return player_settings().journal.file or journal_path()


def sound_mb() -> float | None:
    """Return the size limit of the journal's audio in megabytes; None if audio is not kept."""
    journal = player_settings().journal
    return journal.audio_mb if journal.keep_audio else None


@contextmanager
def open_player_journal() -> Iterator[Journal | None]:
    """Open the player's journal; yield None if that fails. Writing to it reports the error."""
    from trainer.store import Journal, JournalError

    journal = None
    with suppress(JournalError):
        journal = Journal(player_journal())
    try:
        yield journal
    finally:
        if journal is not None:
            journal.close()


@contextmanager
def practice_journal() -> Iterator[Journal]:
    """Open the player's journal; where that fails, report it and open one that is not kept."""
    from trainer.store import Journal, JournalError

    with ExitStack() as opened:
        try:
            journal = opened.enter_context(Journal(player_journal()))
        except JournalError as error:
            typer.echo(f"{error}; practice goes on without it, and nothing is kept", err=True)
            folder = opened.enter_context(TemporaryDirectory(prefix="practice-"))
            journal = opened.enter_context(Journal(Path(folder) / "journal.sqlite"))
        yield journal


def microphone_spec(
    device: str | None,
    output: str | None,
    channel: int | None = None,
    latency: float | None = None,
    *,
    clicks: bool | None = None,
    ground: bool | None = None,
) -> MicrophoneSpec:
    """Return the microphone of the options; missing values come from the settings."""
    from trainer.sound import MicrophoneSpec

    defaults = player_settings().sound
    return MicrophoneSpec(
        device=defaults.device if device is None else device,
        output=defaults.output if output is None else output,
        channel=defaults.channel if channel is None else channel,
        latency_ms=defaults.latency_ms if latency is None else latency,
        clicks=defaults.clicks if clicks is None else clicks,
        ground_db=defaults.ground_db if (defaults.ground if ground is None else ground) else None,
    )


def count_in_beats(beats: int | None) -> int | None:
    """Return the count-in in beats, from the option or the settings; None for one bar."""
    return player_settings().practice.count_in if beats is None else beats


def check_passage(first: float, last: float | None) -> None:
    """Check that a passage ends after it starts; None is the end of the recording.

    Raises:
        TrainerError: it does not.
    """
    from trainer.core import TrainerError

    if last is not None and last <= first:
        raise TrainerError(
            f"--to {last:g} is not after --from {first:g}; let the passage end after it starts"
        )


def check_ending(out: Path, endings: Sequence[str]) -> str:
    """Return the ending of an output file's name in lower case.

    Raises:
        TrainerError: it is none of `endings`.
    """
    from trainer.core import TrainerError

    ending = out.suffix.lower()
    if ending not in endings:
        known = ", ".join(filter(None, endings))
        raise TrainerError(f"'{out}' has no known format; end it in {known}")
    return ending


def check_overwrite(out: Path, *, force: bool) -> None:
    """Check that a file does not exist yet, unless `force` is set.

    Raises:
        TrainerError: the file exists.
    """
    from trainer.core import TrainerError

    if out.exists() and not force:
        raise TrainerError(f"{out} exists already; choose another name, or add --force")


def write_text(out: Path, text: str) -> None:
    """Write a text file; characters that UTF-8 cannot hold become question marks.

    Raises:
        TrainerError: the file cannot be written.
    """
    from trainer.core import TrainerError

    try:
        out.write_text(text, encoding="utf-8", errors="replace")
    except OSError as error:
        raise TrainerError(
            f"{out} cannot be written ({error.strerror}); choose another name"
        ) from None


def write_json(data: Any) -> None:
    """Print data as JSON."""
    typer.echo(json.dumps(data, indent=2))
