"""The computer's inputs and outputs.

PortAudio is loaded here, on first use: without it everything except live sound still works.
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
"""The command that installs PortAudio, by the system's ID in os-release."""
_CALLBACK_S = 0.1
"""Time within which a live stream calls back, in seconds."""
_SERVERS = frozenset({"pulse", "pipewire"})
_NAMES = {"input": "microphone or other input", "output": "loudspeaker or other output"}


@dataclass(frozen=True, slots=True)
class Device:
    """An input or output, or both.

    Attributes:
        number: its number in PortAudio's list.
        name: its name in the system.
        host: the sound system that offers it.
        inputs, outputs: number of its channels; 0 if it has none in that direction.
        rate: its own samples per second.
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

    def channels(self, direction: Direction) -> int:
        """Return the number of its channels in one direction."""
        return self.inputs if direction == "input" else self.outputs

    def is_default(self, direction: Direction) -> bool:
        """Return whether it is the system's choice in one direction."""
        return self.is_default_input if direction == "input" else self.is_default_output


def load_portaudio() -> Any:
    """Return the module `sounddevice`, with PortAudio behind it.

    Raises:
        DeviceError: PortAudio is missing; the message says how to install it.
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


def has_sound_server(device: Device) -> bool:
    """Return whether a sound server stands between the device and its card.

    Most Linux desktops run one.

    A server keeps what a late program has not fetched, so that little latency may be asked for; a
    card that is not served in time drops sound.
    """
    if device.name == "default":
        same_host = (other for other in find_devices() if other.host == device.host)
        return any(other.name in _SERVERS for other in same_host)
    return device.name in _SERVERS


def restart_portaudio() -> None:
    """Make PortAudio look for devices anew, which it does only when it starts. Ends all streams.

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
    """Close a stream with a callback.

    A live stream is stopped, because aborting cancels a thread that may hold a lock of the driver
    or of Python. A dead one is aborted, because stopping takes many seconds on a suspended device.

    Args:
        stream: the stream; no other thread may be closing it.
        timing: to which its callback adds an observation for each call.
    """
    count = timing.count
    time.sleep(_CALLBACK_S)
    failed = load_portaudio().PortAudioError
    with contextlib.suppress(failed):
        stream.abort() if timing.count == count else stream.stop()
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


def find_devices(*, rescan: bool = False) -> tuple[Device, ...]:
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
            name=str(entry["name"]),
            host=str(hosts[entry["hostapi"]]["name"]),
            inputs=int(entry["max_input_channels"]),
            outputs=int(entry["max_output_channels"]),
            rate=round(entry["default_samplerate"]),
            is_default_input=number == default_input,
            is_default_output=number == default_output,
        )
        for number, entry in enumerate(sd.query_devices())
    )


def input_device(wanted: str | int | None = None) -> Device:
    """Return the input of a number, name or part of a name; None is the system's default.

    Raises:
        DeviceError: there is none; the message lists the inputs.
    """
    return match_device(find_devices(), "input", wanted)


def output_device(wanted: str | int | None = None) -> Device:
    """Return the output of a number, name or part of a name; None is the system's default.

    Raises:
        DeviceError: there is none; the message lists the outputs.
    """
    return match_device(find_devices(), "output", wanted)


def match_device(
    among: tuple[Device, ...], direction: Direction, wanted: str | int | None
) -> Device:
    """Return the device that a number, name or part of a name means.

    Where several hosts offer one name, the default device's host wins.

    Raises:
        DeviceError: none or more than one matches.
    """
    usable = [device for device in among if device.channels(direction)]
    if not usable:
        raise DeviceError(f"this computer has no {_NAMES[direction]}; connect one and try again")
    default = next((device for device in usable if device.is_default(direction)), None)
    if wanted is None:
        if default:
            return default
        raise DeviceError(
            f"the system has no default {_NAMES[direction]}; choose one: {_listed(usable)}"
        )
    matches = _matching(usable, str(wanted).strip())
    if default and len(matches) > 1:
        matches = [device for device in matches if device.host == default.host] or matches
    if len(matches) > 1:
        raise DeviceError(
            f"'{wanted}' fits more than one {direction}; give a number: {_listed(matches)}"
        )
    if not matches:
        raise DeviceError(f"no {direction} is called '{wanted}'; choose one of: {_listed(usable)}")
    return matches[0]


def _matching(usable: list[Device], wanted: str) -> list[Device]:
    if wanted.isdecimal():
        return [device for device in usable if device.number == int(wanted)]
    exact = [device for device in usable if device.name.lower() == wanted.lower()]
    return exact or [device for device in usable if wanted.lower() in device.name.lower()]


def _listed(usable: list[Device]) -> str:
    return ", ".join(f"{device.number} {device.name}" for device in usable)
