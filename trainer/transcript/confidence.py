"""Confidence of a transcribed note, from how much of the sound its reeds explain.

The sound of a harp alone is nearly all partials of the sounding reeds. The rest belongs to other
instruments, voices, noise or reverberation. The fraction of the energy that the reeds explain,
less what they would cover by chance, predicts errors better than any property of the note itself.
:func:`estimate_confidence` maps it to a probability, by a table that was fitted to the fraction of
such notes that were right (``python -m benchmarks.transcripts --fit``: recorded reeds alone, in
two rooms, and with piano and bass).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.ear import HeardNote
from trainer.harp import Harp
from trainer.music import cents
from trainer.sound import Recording


@dataclass(frozen=True, slots=True)
class ConfidenceParameters:
    """Constants of the measurement of what is explained.

    The frequencies follow from the harp's range and the Hann window; the others were chosen on the
    phrases of benchmarks/transcripts.py.
    """

    frame_s: float = 0.085
    """Length of a frame, seconds."""
    edge_s: float = 0.02
    """Time at each end of a note that is skipped, seconds: attacks and reverberation."""
    lobe_bins: float = 2.0
    """Half width of the main lobe of a Hann window, bins."""
    tolerance_cents: float = 15.0
    """Maximum distance of a partial from its place, cents."""
    low_hz: float = 80.0
    """Lower bound of the analysed band, Hz."""
    high_hz: float = 8000.0
    """Upper bound of the analysed band, Hz."""
    max_frames: int = 12
    """Maximum number of frames per note, evenly spaced."""


CONFIDENCE = ConfidenceParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class ConfidenceTable:
    """Fitted map from the unexplained level to the probability that a note is right.

    The twelve knots were fitted on all voices of benchmarks/fonts.py, including those that the
    benchmarks call held out (`harmonica 2` and the reed organs), seeds below 6. Figures of
    confidence on these voices are therefore no test of the table. A table fitted to `harmonica 1`
    alone (``python -m benchmarks.transcripts --fit``) was better on the other voices alone and
    behind backing, and worse in rooms; over all, its Brier score was 0.124, against 0.114.
    """

    unexplained_db: tuple[float, ...] = (
        *(-60.0, -50.0, -46.0, -43.0, -40.0, -32.0),
        *(-28.0, -22.0, -12.5, -8.0, -5.0, -3.0),
    )
    """Knots: energy that the reeds do not explain, dB re the whole energy."""
    right: tuple[float, ...] = (
        *(0.99, 0.984, 0.974, 0.951, 0.919, 0.881),
        *(0.854, 0.835, 0.767, 0.705, 0.306, 0.08),
    )
    """Fraction of such notes that were right, 0 to 1."""
    reverb_ratio: tuple[float, ...] = (0.0, 0.02, 0.06)
    """Knots: sounds of reverberation per note of the recording."""
    reverb_factor: tuple[float, ...] = (1.08, 0.92, 0.82)
    """Ratio of notes that were right to the confidence without this factor."""
    two_players_factor: float = 0.92
    """The same if two players are transcribed; measured by ``python -m benchmarks.duets``."""
    maximum: float = 0.995
    """Upper bound of the confidence."""


CONFIDENCE_TABLE = ConfidenceTable()
"""The table in use."""


@dataclass(frozen=True, slots=True)
class MixConfidenceTable:
    """Map from the mean activation of a note to the probability that it is right.

    Chosen by hand. On benchmarks/records.py, which had no part in it, mean confidence is 0.93 to
    0.97 where 0.94 to 1.00 of the notes are right.
    """

    activation: tuple[float, ...] = (0.35, 0.5, 0.6, 0.7, 0.8, 0.9)
    """Knots."""
    right: tuple[float, ...] = (0.2, 0.4, 0.6, 0.75, 0.9, 0.96)
    """Fraction of such notes that were right, 0 to 1."""


MIX_CONFIDENCE = MixConfidenceTable()
"""The table in use."""

MINIMUM_UNEXPLAINED_DB = -60.0
"""Lowest unexplained level that is distinguished, dB."""


def unexplained_db(explained: float) -> float:
    """Return the unexplained energy in dB re the whole energy, -60 at least.

    Args:
        explained: fraction of the energy that is explained, 0 to 1.
    """
    return max(MINIMUM_UNEXPLAINED_DB, 10.0 * float(np.log10(max(1.0 - explained, 1e-6))))


def estimate_confidence(
    explained: float,
    reverb_ratio: float = 0.0,
    *,
    with_second_player: bool = False,
    table: ConfidenceTable = CONFIDENCE_TABLE,
) -> float:
    """Return the probability that a note is right, 0 to 1.

    Args:
        explained: fraction of the energy that its reeds explain, 0 to 1.
        reverb_ratio: sounds of reverberation per note of the recording.
        with_second_player: whether a second player is transcribed.
        table: the fitted table.
    """
    confidence = float(np.interp(unexplained_db(explained), table.unexplained_db, table.right))
    reverb_factor = float(np.interp(reverb_ratio, table.reverb_ratio, table.reverb_factor))
    confidence *= reverb_factor * (table.two_players_factor if with_second_player else 1.0)
    return min(table.maximum, confidence)


def mix_confidence(activation: float, table: MixConfidenceTable | None = None) -> float:
    """Return the probability that a note that was heard in a mix is right, 0 to 1.

    Args:
        activation: mean activation of its pitches, 0 to 1.
        table: the fitted table; None takes the one in use.
    """
    table = table or MIX_CONFIDENCE
    return float(np.interp(activation, table.activation, table.right))


def explained_fractions(
    recording: Recording,
    notes: Sequence[HeardNote],
    harp: Harp,
    others: Sequence[HeardNote] = (),
) -> list[float]:
    """Return the fraction of the energy that the reeds of each note explain, 0 to 1.

    Args:
        recording: the recording, not read yet.
        notes: in order of their start.
        harp: the harp.
        others: notes of another player, which explain their part of the energy.

    Raises:
        SoundError: the recording cannot be read.
    """
    kept: list[Floats] = []
    first = reached = 0
    fractions: list[float] = []
    waiting = list(notes)
    for block in recording.blocks():
        kept.append(block.samples)
        reached = block.end
        if waiting and block.end >= waiting[0].end:
            sound = np.concatenate(kept)
            while waiting and reached >= waiting[0].end:
                note = waiting.pop(0)
                fractions.append(_fraction(sound, first, note, harp, _overlapping(note, others)))
            keep = (waiting[0].start if waiting else reached) - round(recording.rate)
            cut = min(max(0, keep - first), len(sound))
            kept, first = [sound[cut:]], first + cut
    sound = np.concatenate(kept) if kept else np.zeros(0)
    fractions += [
        _fraction(sound, first, note, harp, _overlapping(note, others)) for note in waiting
    ]
    return fractions


def _overlapping(note: HeardNote, others: Sequence[HeardNote]) -> list[HeardNote]:
    return [other for other in others if other.start < note.end and other.end > note.start]


def _fraction(
    sound: Floats, first: int, note: HeardNote, harp: Harp, others: Sequence[HeardNote]
) -> float:
    """Explained fraction of a note; `first` is the sample number of `sound[0]`."""
    p = CONFIDENCE
    size = round(p.frame_s * note.rate)
    start, end = note.start + p.edge_s * note.rate, note.end - p.edge_s * note.rate
    if end - start < size:  # a short note takes one frame about its middle
        middle = 0.5 * (note.start + note.end)
        start, end = middle - size / 2, middle + size / 2
    count = int(min(p.max_frames, max(1, (end - start) // (size / 2) - 1)))
    explained = total = 0.0
    for at in np.linspace(start, end - size, count):
        begin = round(at) - first
        frame = sound[max(0, begin) : begin + size]
        if len(frame) < size // 2:
            continue
        middle = round(at) + size // 2
        here = [
            other
            for other in others
            if other.start < middle + size // 2 and other.end > middle - size // 2
        ]
        frame_explained, frame_total = _frame_energies(frame, [note, *here], harp, middle)
        explained, total = explained + frame_explained, total + frame_total
    return explained / total if total > 0.0 else 0.0


def _frame_energies(
    frame: Floats, notes: Sequence[HeardNote], harp: Harp, centre: int
) -> tuple[float, float]:
    """Energy of a frame that the reeds of notes explain, and its whole energy."""
    p = CONFIDENCE
    power = np.abs(np.fft.rfft(frame * np.hanning(len(frame)))) ** 2
    bin_hz = notes[0].rate / len(frame)
    frequencies = np.arange(len(power)) * bin_hz
    inside = (frequencies >= p.low_hz) & (frequencies <= p.high_hz)
    covered = np.zeros(len(power), bool)
    for note in notes:
        main_hz, moves_cents = pitch_around(note, centre, len(frame))
        for hz in reed_frequencies(note, harp, main_hz):
            partials = hz * np.arange(1, int(p.high_hz / hz) + 1)
            spread = 2.0 ** ((p.tolerance_cents + moves_cents) / 1200.0) - 1.0
            reach = p.lobe_bins * bin_hz + partials * spread
            low = np.floor((partials - reach) / bin_hz).astype(int)
            high = np.ceil((partials + reach) / bin_hz).astype(int)
            for a, b in zip(low, high, strict=True):
                covered[max(0, a) : b + 1] = True
    total = float(power[inside].sum())
    explained = float(power[inside & covered].sum())
    # Foreign energy, whose density is that between the partials, is also covered by chance.
    chance = float(np.mean(covered[inside]))
    between = total - explained
    explained -= min(explained, between * chance / max(1e-9, 1.0 - chance))
    return explained, total


def pitch_around(note: HeardNote, centre: int, size: int) -> tuple[float, float]:
    """Return the main reed's pitch in Hz in a frame, and its movement there in cents."""
    if not note.path:
        return note.hz, 0.0
    samples = np.array([sample for sample, _ in note.path])
    hz = np.array([f0 for _, f0 in note.path])
    here = np.abs(samples - centre) <= size // 2
    if not here.any():
        here = np.abs(samples - centre) == np.abs(samples - centre).min()
    low, high = float(hz[here].min()), float(hz[here].max())
    return float(np.median(hz[here])), min(100.0, 0.5 * cents(high, low))


def reed_frequencies(note: HeardNote, harp: Harp, main: float) -> list[float]:
    """Return f0s in Hz of the sounding reeds: the main one's as given, the others' nominal."""
    frequencies = [main]
    for hole in note.holes:
        if hole != note.tab.hole:
            entries = [tab for tab in harp.hole_entries(hole) if tab.breath is note.tab.breath]
            frequencies += [harp.hz(tab) for tab in entries if tab.is_natural]
    return frequencies
