"""What spoils the sound of a microphone before the trainer gets it.

Call programs and systems improve speech: they level what is loud and soft, and cut what does not
sound like a voice, a held note among it. Levels are those of 20 ms frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.system import SYSTEM
from trainer.core.types import Floats
from trainer.sound.other_sound import has_other_sound
from trainer.sound.spectra import power_densities


class MicrophoneFault(StrEnum):
    """What may spoil the sound."""

    GAIN = "automatic gain"
    SUPPRESSION = "noise suppression"
    NARROW = "a narrow band"
    DEAD_CHANNEL = "a dead channel"
    HUM = "hum"
    OTHER_SOUND = "other sound"
    ECHO = "an echo"


@dataclass(frozen=True, slots=True)
class FaultParameters:
    """Constants of recognising what spoils a microphone. All chosen by hand."""

    frame_s: float = 0.02
    """Length of a frame whose level is measured, in seconds."""
    tone_db: float = 20.0
    """Level of a held note above the floor, in dB."""
    tone_s: float = 1.5
    """Shortest held note that is judged, in seconds."""
    longest_gap_s: float = 0.4
    """Longest gap within a held note, in seconds; a longer one ends the note."""
    gap_db: float = 25.0
    """Drop of the level within a held note that counts as a gap, in dB: no reed stops and speaks
    again so fast."""
    least_gaps: int = 2
    """Gaps from which on noise suppression is reported."""
    around_gap_s: float = 0.1
    """Time before and after a gap whose pitches are compared, in seconds."""
    same_pitch: float = 0.02
    """Relative difference of two pitches up to which a note has gone on after a gap."""
    attack_s: float = 0.1
    """Start and end of a note that are not judged, in seconds."""
    sink_db: float = 7.0
    """Fall of the level from the first 0.2 s of a held note to its last second, in dB."""
    rise_db: float = 6.0
    """Rise of the floor from just after a note to a second later, in dB."""
    band_hz: tuple[float, float, float] = (4_000.0, 7_000.0, 8_400.0)
    """Limits in Hz of the band that a headset's call mode passes, and where nothing is left."""
    band_db: float = 45.0
    """Difference of the two bands' spectral densities from which the band is narrow, in dB."""
    dead_db: float = -100.0
    """Level of a channel that gives nothing, in dBFS."""
    hum_db: float = 20.0
    """Height of a line of hum above its surroundings, in dB."""
    hum_lines: int = 3
    """Lines at multiples of the mains frequency from which on hum is reported."""
    hum_level_db: float = -70.0
    """Level of the strongest of them from which on it matters, in dBFS."""
    below_peak_db: float = 10.0
    """Level below the loudest frames down to which frames belong to a held note, in dB: other sound
    is further away."""
    opening_s: float = 0.1
    """Time at the start that is not judged, in seconds: an input may open with a knock."""
    before_note_s: float = 0.5
    """Time before a note that is not judged, in seconds: the player takes a breath."""
    after_note_s: float = 1.0
    """Time after a note in which it dies away in the room, in seconds."""


PARAMETERS = FaultParameters()
_MAINS_HZ = (50.0, 60.0)


def find_faults(
    samples: NDArray[np.floating[Any]], rate: int, channels_db: Sequence[float] = ()
) -> tuple[MicrophoneFault, ...]:
    """Return what spoils a microphone, judged by silence and, if there is one, a held note.

    Args:
        samples: its sound, float, shape (n,).
        rate: samples per second.
        channels_db: level of each channel in dBFS, if it has several.
    """
    levels = frame_levels_db(samples, rate)
    if not len(levels):
        return ()
    floor = float(np.percentile(levels, 10.0))
    faults = []
    tone = _held_note(levels, floor)
    if tone is not None:
        if _gaps(samples, rate, levels, tone) >= PARAMETERS.least_gaps:
            faults.append(MicrophoneFault.SUPPRESSION)
        elif _pumps(levels, tone):
            faults.append(MicrophoneFault.GAIN)
    if _is_narrow(samples, rate):
        faults.append(MicrophoneFault.NARROW)
    alive = [level > PARAMETERS.dead_db for level in channels_db]
    if any(alive) and not all(alive):
        faults.append(MicrophoneFault.DEAD_CHANNEL)
    if _hums(samples, rate, levels, floor):
        faults.append(MicrophoneFault.HUM)
    processed = {MicrophoneFault.GAIN, MicrophoneFault.SUPPRESSION} & set(faults)
    note_db = note_level_db(levels)
    if (
        note_db is not None
        and not processed
        and has_other_sound(_quiet_parts(samples, rate, levels), rate, note_db)
    ):
        faults.append(MicrophoneFault.OTHER_SOUND)
    return tuple(faults)


_ENHANCEMENTS = {
    "win32": "in Settings, System, Sound, choose the microphone and set Audio enhancements to Off",
    "darwin": "while the trainer listens, choose Standard as Mic Mode in the Control Centre",
    "linux": "take noise suppression and echo cancelling out of PulseAudio or PipeWire",
}
"""Where each system keeps what it does to speech. From memory."""
_VOLUMES = {
    "win32": "in Settings, System, Sound, Output",
    "darwin": "in the Control Centre, Sound",
    "linux": "in the sound settings, Output",
}
"""Where each system keeps the loudspeaker's volume. From memory."""


def remedy(fault: MicrophoneFault, system: str = SYSTEM) -> str:
    """Return what to do about a fault, as a sentence.

    Args:
        fault: the fault.
        system: ``win32``, ``darwin`` or ``linux``, as Python names them.
    """
    enhancements = _ENHANCEMENTS.get(system, _ENHANCEMENTS["linux"])
    match fault:
        case MicrophoneFault.GAIN:
            return f"turn off automatic gain, which levels what you play: {enhancements}"
        case MicrophoneFault.SUPPRESSION:
            return f"turn off noise suppression, which cuts gaps into notes: {enhancements}"
        case MicrophoneFault.NARROW:
            return (
                "use a microphone by cable or the computer's own: nothing comes above 8 kHz, as "
                "from a headset in call mode"
            )
        case MicrophoneFault.DEAD_CHANNEL:
            return "name the channel that sounds with --channel 1 or 2: the other is dead"
        case MicrophoneFault.HUM:
            return "use another socket or cable, away from power supplies: there is mains hum"
        case MicrophoneFault.OTHER_SOUND:
            return (
                "turn off the radio, or close the door, and move closer to the microphone: talk or "
                "music sounds while you are quiet"
            )
        case MicrophoneFault.ECHO:
            volume = _VOLUMES.get(system, _VOLUMES["linux"])
            return (
                f"use headphones with a cable, or turn the loudspeaker down {volume}: clicks come "
                "back louder or later than the trainer can cancel"
            )


def frame_levels_db(samples: NDArray[np.floating[Any]], rate: int) -> Floats:
    """Return the RMS level of each frame in dBFS, at least -120, shape (frames,)."""
    size = max(1, round(PARAMETERS.frame_s * rate))
    sound = samples.astype(np.float64)
    power = np.mean(sound[: len(sound) // size * size].reshape(-1, size) ** 2, axis=1)
    return np.asarray(10.0 * np.log10(power + 1e-12))


def note_level_db(levels: Floats) -> float | None:
    """Return the median level of the held note in dBFS; None if there is none.

    Args:
        levels: of each frame, as `frame_levels_db` returns them.
    """
    note = _longest(_played(levels))
    return None if note is None else float(np.median(levels[note]))


def _played(levels: Floats) -> NDArray[np.bool_]:
    """Return which frames are about as loud as the loudest, shape (frames,)."""
    floor, top = np.percentile(levels, (10.0, 95.0))
    loud = levels > max(floor + PARAMETERS.tone_db, top - PARAMETERS.below_peak_db)
    return np.asarray(loud)


def _quiet_parts(
    samples: NDArray[np.floating[Any]], rate: int, levels: Floats
) -> list[NDArray[np.floating[Any]]]:
    """Return the stretches in which nobody plays, beside a held note."""
    size = max(1, round(PARAMETERS.frame_s * rate))
    quiet = np.ones(len(levels), bool)
    quiet[: _frames(PARAMETERS.opening_s)] = False
    before, after = _frames(PARAMETERS.before_note_s), _frames(PARAMETERS.after_note_s)
    for frame in np.flatnonzero(_played(levels)):
        quiet[max(0, frame - before) : frame + after] = False
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]])))
    return [samples[first * size : last * size] for first, last in edges.reshape(-1, 2)]


def _frames(seconds: float) -> int:
    return round(seconds / PARAMETERS.frame_s)


def _held_note(levels: Floats, floor: float) -> slice | None:
    """Return the frames of the longest held note, short gaps included; None if there is none."""
    return _longest(levels > floor + PARAMETERS.tone_db)


def _longest(sounds: NDArray[np.bool_]) -> slice | None:
    """Return the longest run of frames that sound, short gaps included; None if it is short."""
    sounding = np.flatnonzero(sounds)
    if not len(sounding):
        return None
    parts = np.split(
        sounding, np.flatnonzero(np.diff(sounding) > _frames(PARAMETERS.longest_gap_s)) + 1
    )
    longest = max(parts, key=lambda part: part[-1] - part[0])
    note = slice(int(longest[0]), int(longest[-1]) + 1)
    return note if note.stop - note.start >= _frames(PARAMETERS.tone_s) else None


def _gaps(samples: NDArray[np.floating[Any]], rate: int, levels: Floats, note: slice) -> int:
    """Return how often the level of a held note drops and comes back, at the same pitch."""
    edge, around = _frames(PARAMETERS.attack_s), _frames(PARAMETERS.around_gap_s)
    inner = levels[note][edge:-edge]
    low = inner < np.median(inner) - PARAMETERS.gap_db
    change = np.diff(np.concatenate([[0], low.astype(int), [0]]))
    count = 0
    for first, last in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True):
        begin, end = note.start + edge + int(first), note.start + edge + int(last)
        before = _strongest_hz(samples, rate, begin - 1 - around, begin - 1)
        after = _strongest_hz(samples, rate, end + 1, end + 1 + around)
        count += abs(before - after) <= PARAMETERS.same_pitch * before
    return count


def _strongest_hz(samples: NDArray[np.floating[Any]], rate: int, begin: int, end: int) -> float:
    """Return the strongest frequency of some frames in Hz."""
    size = max(1, round(PARAMETERS.frame_s * rate))
    part = samples[max(0, begin) * size : end * size].astype(np.float64)
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 4 * len(part)))
    return float(np.argmax(spectrum) * rate / (4 * len(part)))


def _pumps(levels: Floats, note: slice) -> bool:
    """Whether a held note sinks evenly after its start, and the floor rises again after it."""
    edge, second = _frames(PARAMETERS.attack_s), _frames(1.0)
    inner = levels[note][edge:-edge]
    start, end = np.median(inner[: 2 * edge]), np.median(inner[-second:])
    after = levels[note.stop + edge :]
    if len(after) < second + 2 * edge:
        return False
    just_after, later = np.median(after[: 2 * edge]), np.median(after[second : second + 2 * edge])
    rises = later - just_after > PARAMETERS.rise_db
    return bool(rises and start - end > PARAMETERS.sink_db)


def _is_narrow(samples: NDArray[np.floating[Any]], rate: int) -> bool:
    """Whether nothing is left above what a headset's call mode passes."""
    low, high, empty = PARAMETERS.band_hz
    if rate <= 2.0 * empty:
        return True
    density, frequency = _spectrum(samples, rate)
    passed = density[(frequency >= low) & (frequency < high)]
    left = density[(frequency >= empty) & (frequency < 0.45 * rate)]
    if not passed.any():
        return False
    difference = 10.0 * np.log10((np.median(passed) + 1e-20) / (np.median(left) + 1e-20))
    return bool(difference > PARAMETERS.band_db)


def _hums(samples: NDArray[np.floating[Any]], rate: int, levels: Floats, floor: float) -> bool:
    """Whether the silence has lines at multiples of the mains frequency."""
    size = max(1, round(PARAMETERS.frame_s * rate))
    quiet = levels <= floor + 6.0
    sound = samples[: len(levels) * size].reshape(-1, size)[quiet].ravel()
    if len(sound) < rate // 2:
        return False
    density, frequency = _spectrum(sound, rate, length_s=0.5)
    step = frequency[1]
    for mains in _MAINS_HZ:
        lines = []
        for multiple in range(1, 9):
            at = round(mains * multiple / step)
            peak = density[at - 1 : at + 2].max()
            around = np.median(density[max(1, at - 10) : at + 11])
            if 10.0 * np.log10(peak / (around + 1e-20) + 1e-20) > PARAMETERS.hum_db:
                lines.append(10.0 * np.log10(peak * step + 1e-20))
        if len(lines) >= PARAMETERS.hum_lines and max(lines) > PARAMETERS.hum_level_db:
            return True
    return False


def _spectrum(
    samples: NDArray[np.floating[Any]], rate: int, length_s: float = 0.05
) -> tuple[Floats, Floats]:
    """Return the mean power density and its frequencies in Hz, both shape (bins,)."""
    density, frequency = power_densities(samples, rate, min(len(samples), round(length_s * rate)))
    return density.mean(axis=1), frequency
