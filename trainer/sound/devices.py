"""Which inputs and outputs there are.

PortAudio is loaded here, on first use: without it everything but live sound still works.
"""

from __future__ import annotations

import contextlib
import platform
import sys
import time
from dataclasses import dataclass
from typing import Any, Literal

from trainer.sound.errors import DeviceError
from trainer.sound.stream_timing import StreamTiming

Direction = Literal["input", "output"]

_INSTALL = {
    "debian": "sudo apt install libportaudio2",
    "fedora": "sudo dnf install portaudio",
    "rhel": "sudo dnf install portaudio",
    "arch": "sudo pacman -S portaudio",
    "suse": "sudo zypper install libportaudio2",
    "alpine": "sudo apk add portaudio",
}
_SHORTLY_S = 0.1
"""A live stream calls back within this time."""
_SERVERS = frozenset({"pulse", "pipewire"})
_CALLED = {"input": "microphone or other input", "output": "loudspeaker or other output"}


@dataclass(frozen=True, slots=True)
class Device:
    """An input or output, or both.

    Attributes:
        number: how PortAudio counts it.
        name: how the system names it.
        host: the sound system that offers it.
        inputs, outputs: its channels; 0 if it is not one.
        rate: its own samples a second.
        is_default_input, is_default_output: whether it is the system's choice.
    """

    number: int
    name: str
    host: str
    inputs: int
    outputs: int
    rate: int
    is_default_input: bool
    is_default_output: bool

    def channels(self, kind: Direction) -> int:
        """Its channels in one direction."""
        return self.inputs if kind == "input" else self.outputs

    def is_default(self, kind: Direction) -> bool:
        """Whether it is the system's choice in one direction."""
        return self.is_default_input if kind == "input" else self.is_default_output


def load_portaudio() -> Any:
    """The module `sounddevice`, with PortAudio behind it.

    Raises:
        DeviceError: PortAudio is not there; the message says how to install it.
    """
    try:
        import sounddevice
    except OSError as error:
        raise DeviceError(
            "live sound needs the PortAudio library, which this computer does not have; "
            f"{_how_to_install()}"
        ) from error
    except Exception as error:
        raise DeviceError(f"PortAudio does not start on this computer: {error}") from error
    return sounddevice


def is_served(device: Device) -> bool:
    """Whether a sound server stands between the device and its card, as on most Linux desktops.

    It keeps what a late program has not fetched, so that little latency may be asked for; a card
    that nobody serves in time drops sound.
    """
    if device.name == "default":
        return any(one.name in _SERVERS for one in devices() if one.host == device.host)
    return device.name in _SERVERS


def restart_portaudio() -> None:
    """Let PortAudio look for devices anew; it does so only as it starts. Ends all streams.

    Raises:
        DeviceError: it does not start again.
    """
    sd = load_portaudio()
    with contextlib.suppress(sd.PortAudioError):
        sd._terminate()
    try:
        sd._initialize()
    except sd.PortAudioError as error:
        raise DeviceError(f"PortAudio does not start: {error.args[0]}") from error


def end_stream(stream: Any, timing: StreamTiming) -> None:
    """Let go of a stream with a callback.

    A live one is asked to stop, because aborting cancels a thread that may be holding a lock of
    the driver or of Python; a dead one is aborted, because asking takes many seconds on a
    suspended device.

    Args:
        stream: the stream; nobody else may be closing it.
        timing: where its callback notes each call.
    """
    notes = timing.notes
    time.sleep(_SHORTLY_S)
    failed = load_portaudio().PortAudioError
    with contextlib.suppress(failed):
        stream.abort() if timing.notes == notes else stream.stop()
    with contextlib.suppress(failed):
        stream.close()


def _how_to_install() -> str:
    if sys.platform in ("darwin", "win32"):
        return "install it with: python -m pip install --force-reinstall sounddevice"
    try:
        system = platform.freedesktop_os_release()
    except OSError:
        system = {}
    for like in [system.get("ID", ""), *system.get("ID_LIKE", "").split()]:
        for known, command in _INSTALL.items():
            if known in like:
                return f"install it with: {command}"
    return "install your system's package of it (portaudio or libportaudio2)"


def devices(*, rescan: bool = False) -> tuple[Device, ...]:
    """Return all inputs and outputs, by number.

    Args:
        rescan: look for devices connected since PortAudio started, which ends all streams.

    Raises:
        DeviceError: PortAudio is missing.
    """
    if rescan and "sounddevice" in sys.modules:
        restart_portaudio()
    sd = load_portaudio()
    hosts = sd.query_hostapis()
    default_input, default_output = sd.default.device
    return tuple(
        Device(
            number=number,
            name=str(found["name"]),
            host=str(hosts[found["hostapi"]]["name"]),
            inputs=int(found["max_input_channels"]),
            outputs=int(found["max_output_channels"]),
            rate=round(found["default_samplerate"]),
            is_default_input=number == default_input,
            is_default_output=number == default_output,
        )
        for number, found in enumerate(sd.query_devices())
    )


def input_device(wanted: str | int | None = None) -> Device:
    """The input of that number, name or part of a name; None is the system's.

    Raises:
        DeviceError: there is none; the message lists what there is.
    """
    return match_device(devices(), "input", wanted)


def output_device(wanted: str | int | None = None) -> Device:
    """The output of that number, name or part of a name; None is the system's.

    Raises:
        DeviceError: there is none; the message lists what there is.
    """
    return match_device(devices(), "output", wanted)


def match_device(among: tuple[Device, ...], kind: Direction, wanted: str | int | None) -> Device:
    """The device that is meant; where one name is offered by several hosts, the default's.

    Raises:
        DeviceError: none is, or more than one.
    """
    there = [device for device in among if device.channels(kind)]
    if not there:
        raise DeviceError(f"this computer has no {_CALLED[kind]}; connect one and try again")
    default = next((device for device in there if device.is_default(kind)), None)
    if wanted is None:
        if default:
            return default
        raise DeviceError(
            f"the system names no {_CALLED[kind]} of its own; choose one: {_listed(there)}"
        )
    found = _matching(there, str(wanted).strip())
    if default and len(found) > 1:
        found = [device for device in found if device.host == default.host] or found
    if len(found) > 1:
        raise DeviceError(f"'{wanted}' fits more than one {kind}; give a number: {_listed(found)}")
    if not found:
        raise DeviceError(f"no {kind} is called '{wanted}'; there are {_listed(there)}")
    return found[0]


def _matching(there: list[Device], wanted: str) -> list[Device]:
    if wanted.isdecimal():
        return [device for device in there if device.number == int(wanted)]
    exact = [device for device in there if device.name.lower() == wanted.lower()]
    return exact or [device for device in there if wanted.lower() in device.name.lower()]


def _listed(there: list[Device]) -> str:
    return ", ".join(f"{device.number} {device.name}" for device in there)
