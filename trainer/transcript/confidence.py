"""How far a written note is to be trusted: how much of what sounds there is the reeds it names.

A harp alone is nearly all partials of the reeds that sound. What lies between them belongs to
somebody else: other instruments, voices, noise, a room that still rings. The share that the reeds
explain, with what they would cover by chance taken off, says more than any figure of the note
itself, and :func:confidence turns it into the share of such notes that were right when it was
measured (``python -m benchmarks.transcripts``): recorded reeds alone, in two rooms, and beside
piano and bass.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trainer.core.types import Floats
from trainer.ear import HeardNote
from trainer.harp import Harp
from trainer.music import cents
from trainer.sound import Recording

FRAME_S = 0.085
EDGE_S = 0.02
"""Of a note, so much at each end is not looked at: attacks, and what still rings."""
LOBE_BINS = 2.0
"""Half the main lobe of a Hann window, in bins."""
LOOSE_CENTS = 15.0
"""A partial may lie so far from its place."""
LOW_HZ, HIGH_HZ = 80.0, 8000.0
MOST_FRAMES = 12
"""Of a long note, so many are looked at, spread evenly."""


UNEXPLAINED_DB = (-60.0, -50.0, -46.0, -43.0, -40.0, -32.0, -28.0, -22.0, -12.5, -8.0, -5.0, -3.0)
RIGHT = (0.99, 0.984, 0.974, 0.951, 0.919, 0.881, 0.854, 0.835, 0.767, 0.705, 0.306, 0.08)
"""Of notes beside which so much is left, dB re all that sounds, so many were right."""
RINGS, KEPT = (0.0, 0.02, 0.06), (1.08, 0.92, 0.82)
"""Where so many sounds rang on for each note of the recording, so many times as many were right."""
OF_TWO = 0.92
"""Where two players are written, so many times as many were right: measured, too, by
``python -m benchmarks.duets``."""
SUREST = 0.995
_NOTHING_DB = -60.0


def unexplained_db(share: float) -> float:
    """What is left where a share, 0 to 1, is explained: dB re all that sounds, -60 at the least."""
    return max(_NOTHING_DB, 10.0 * float(np.log10(max(1.0 - share, 1e-6))))


def estimate_confidence(
    share: float, reverb_ratio: float = 0.0, *, with_second_player: bool = False
) -> float:
    """How likely a note is right, 0 to 1.

    Args:
        share: of what sounds, that its reeds explain, 0 to 1.
        rings: sounds that only rang on, for each note of the recording.
        of_two: whether a second player is written beside it.
    """
    sure = float(np.interp(unexplained_db(share), UNEXPLAINED_DB, RIGHT))
    sure *= float(np.interp(reverb_ratio, RINGS, KEPT)) * (OF_TWO if with_second_player else 1.0)
    return min(SUREST, sure)


def explained_fractions(
    recording: Recording,
    notes: Sequence[HeardNote],
    harp: Harp,
    others: Sequence[HeardNote] = (),
) -> list[float]:
    """The share of what sounds that the reeds of each note explain, 0 to 1.

    Args:
        recording: what the notes were heard in, not yet read.
        notes: in order of their start.
        harp: what they were heard on.
        others: what another player is heard to play meanwhile, which explains its own.

    Raises:
        SoundError: it cannot be read.
    """
    held: list[Floats] = []
    first = reached = 0
    found: list[float] = []
    waiting = list(notes)
    for block in recording.blocks():
        held.append(block.samples)
        reached = block.end
        if waiting and block.end >= waiting[0].end:
            sound = np.concatenate(held)
            while waiting and reached >= waiting[0].end:
                note = waiting.pop(0)
                found.append(_share(sound, first, note, harp, _beside(note, others)))
            keep = (waiting[0].start if waiting else reached) - round(recording.rate)
            cut = min(max(0, keep - first), len(sound))
            held, first = [sound[cut:]], first + cut
    sound = np.concatenate(held) if held else np.zeros(0)
    found += [_share(sound, first, note, harp, _beside(note, others)) for note in waiting]
    return found


def _beside(note: HeardNote, others: Sequence[HeardNote]) -> list[HeardNote]:
    return [one for one in others if one.start < note.end and one.end > note.start]


def _share(
    sound: Floats, first: int, note: HeardNote, harp: Harp, others: Sequence[HeardNote]
) -> float:
    """The share in a note; `first` is the number of the first sample of `sound`."""
    size = round(FRAME_S * note.rate)
    start, end = note.start + EDGE_S * note.rate, note.end - EDGE_S * note.rate
    if end - start < size:  # a short note is looked at as a whole
        middle = 0.5 * (note.start + note.end)
        start, end = middle - size / 2, middle + size / 2
    count = int(min(MOST_FRAMES, max(1, (end - start) // (size / 2) - 1)))
    own = other = 0.0
    for at in np.linspace(start, end - size, count):
        begin = round(at) - first
        frame = sound[max(0, begin) : begin + size]
        if len(frame) < size // 2:
            continue
        middle = round(at) + size // 2
        here = [
            one for one in others if one.start < middle + size // 2 and one.end > middle - size // 2
        ]
        explains, all_ = _frame(frame, [note, *here], harp, middle)
        own, other = own + explains, other + all_
    return own / other if other > 0.0 else 0.0


def _frame(
    frame: Floats, notes: Sequence[HeardNote], harp: Harp, centre: int
) -> tuple[float, float]:
    """What the reeds of notes explain of a frame's energy, and all of it."""
    power = np.abs(np.fft.rfft(frame * np.hanning(len(frame)))) ** 2
    bin_hz = notes[0].rate / len(frame)
    at = np.arange(len(power)) * bin_hz
    inside = (at >= LOW_HZ) & (at <= HIGH_HZ)
    covered = np.zeros(len(power), bool)
    moving = [(note, *pitch_around(note, centre, len(frame))) for note in notes]
    for hz, moves in (
        (hz, by) for note, near, by in moving for hz in reed_frequencies(note, harp, near)
    ):
        orders = np.arange(1, int(HIGH_HZ / hz) + 1)
        lines = hz * orders
        reach = LOBE_BINS * bin_hz + lines * (2.0 ** ((LOOSE_CENTS + moves) / 1200.0) - 1.0)
        low = np.floor((lines - reach) / bin_hz).astype(int)
        high = np.ceil((lines + reach) / bin_hz).astype(int)
        for a, b in zip(low, high, strict=True):
            covered[max(0, a) : b + 1] = True
    whole = float(power[inside].sum())
    own = float(power[inside & covered].sum())
    # What lies between the partials is found under them by chance, too.
    chance = float(np.mean(covered[inside]))
    between = whole - own
    own -= min(own, between * chance / max(1e-9, 1.0 - chance))
    return own, whole


def pitch_around(note: HeardNote, centre: int, size: int) -> tuple[float, float]:
    """The main reed's pitch around a sample, and how many cents it moves within the frame."""
    if not note.path:
        return note.hz, 0.0
    samples = np.array([one for one, _ in note.path])
    hz = np.array([one for _, one in note.path])
    here = np.abs(samples - centre) <= size // 2
    if not here.any():
        here = np.abs(samples - centre) == np.abs(samples - centre).min()
    low, high = float(hz[here].min()), float(hz[here].max())
    return float(np.median(hz[here])), min(100.0, 0.5 * cents(high, low))


def reed_frequencies(note: HeardNote, harp: Harp, main: float) -> list[float]:
    """The pitches of the reeds that sound: the main one as it was heard, the others by theory."""
    found = [main]
    for hole in note.holes:
        if hole != note.tab.hole:
            tabs = [one for one in harp.hole_entries(hole) if one.breath is note.tab.breath]
            found += [harp.hz(one) for one in tabs if one.is_natural]
    return found
