"""Melodies of single notes, scored as notes and as a pitch track by mir_eval.

Conventions. The truth of a note is its onset, its end, and the pitch that it holds (for a bend, the
pitch it is bent to). Note metrics are those of MIREX, by onset only, at the usual ±50 ms and
±50 cents and at ±20 ms and ±10 cents. Pitch metrics are those of Salamon and Gómez 2014 (raw pitch,
and chroma, which ignores octaves), within 50 and within 5 cents.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import aubio
import mir_eval
import numpy as np

from benchmarks.corpus import PitchPath, Player, Sound, bend, hard, natural, still
from benchmarks.fonts import RATE
from benchmarks.measure import Track, blocks, track
from benchmarks.peers import PEERS
from trainer.core.types import Floats
from trainer.ear import NoteTracker, analyze_blocks
from trainer.harp import Harp, Tab

NOTES = 30
RISE_S = 0.005
"""Rise time of a tongued note in seconds."""
TOLERANCES = ((0.05, 50.0), (0.02, 10.0))
"""Tolerances of a right note, seconds and cents."""


@dataclass(frozen=True)
class Melody:
    """A melody and its truth.

    Attributes:
        samples: shape (n,), at `RATE`.
        harp: the harp that is played.
        spans: onset and end of each note in seconds, shape (notes, 2).
        held_hz: pitch of each, shape (notes,).
        times, hz: f0 every 5 ms; 0 where nothing sounds.
    """

    samples: Floats
    harp: Harp
    spans: Floats
    held_hz: Floats
    times: Floats
    hz: Floats


def melody(player: Player, soft: bool, seed: int = 3) -> Melody:
    """Make a melody of 30 naturals, bent notes and bends, with and without rests, and repeats.

    Args:
        player: the harp.
        soft: whether notes have the reeds' own attacks instead of tongued ones.
        seed: of everything random.
    """
    draw = np.random.default_rng(seed)
    tabs = player.naturals
    where = len(tabs) // 2
    spans, held, played = [], [], []
    now = 0.3
    for _ in range(NOTES):
        again = draw.random() < 0.2
        where = where if again else int(np.clip(where + draw.integers(-4, 5), 0, len(tabs) - 1))
        tab, length = tabs[where], float(draw.uniform(0.18, 0.6))
        cents = 0.0
        path: PitchPath = still
        if player.harp.can_play(Tab.parse(tab + "'")):
            kind = draw.random()
            if kind < 0.25:
                cents = -100.0
            elif kind < 0.5 and not soft:
                length, cents, path = length + 0.35, -100.0, bend(100.0, 0.1, 0.1)
        if soft:
            sound = natural(player.reed(tab), length, cents)
        else:
            sound = tongued(hard(player.reed(tab), length, path, cents if path is still else 0.0))
        spans.append((now, now + length))
        held.append(float(np.median(sound.hz(np.linspace(0.6, 0.9, 9) * length))))
        played.append(sound)
        # A repeated note needs a gap; others may follow at once.
        rest = draw.random()
        now += length + (
            0.04 if rest < 0.4 else 0.0 if rest < 0.6 else float(draw.uniform(0.08, 0.3))
        )
    return _put_together(player.harp, np.array(spans), np.array(held), played)


def tongued(sound: Sound) -> Sound:
    """Give a sound the rise of a tongued note, in place."""
    rise = round(RISE_S * RATE)
    sound.samples[:rise] *= np.linspace(0.0, 1.0, rise)
    return sound


def _put_together(harp: Harp, spans: Floats, held: Floats, played: list[Sound]) -> Melody:
    samples = np.zeros(round((spans[-1, 1] + 0.3) * RATE))
    times = np.arange(0.0, len(samples) / RATE, 0.005)
    hz = np.zeros(len(times))
    for (start, end), sound in zip(spans, played, strict=True):
        at = round(start * RATE)
        samples[at : at + len(sound.samples)] += sound.samples
        on = (times >= start) & (times < end)
        hz[on] = sound.hz(times[on] - start)
    return Melody(samples, harp, spans, held, times, hz)


@dataclass(frozen=True)
class Notes:
    """Notes of any detector: onset and end in seconds, shape (n, 2), and Hz, shape (n,)."""

    spans: Floats
    hz: Floats


def ear_notes(tune: Melody) -> tuple[Notes, Track]:
    """Return this ear's notes and readings."""
    tracker = NoteTracker(tune.harp)
    readings = list(analyze_blocks(blocks(tune.samples, RATE), RATE, tune.harp))
    heard = [note for reading in readings for note in tracker.track(reading)] + tracker.flush()
    spans = np.array([(note.start / RATE, note.end / RATE) for note in heard])
    return Notes(spans.reshape(-1, 2), np.array([note.hz for note in heard])), track(readings)


def aubio_notes(tune: Melody) -> Notes:
    """Return aubio's notes: its default onset detector, and pitch as MIDI numbers.

    It reports notes some 50 ms late: the constant delay that gives the best score is subtracted.
    """
    detector = aubio.notes("default", 2048, 256, RATE)
    starts: list[float] = []
    midis: list[float] = []
    ends: list[float] = []
    samples = tune.samples.astype(np.float32)
    for at in range(0, len(samples) - 255, 256):
        midi, _, off = detector(samples[at : at + 256])
        if off and len(ends) < len(starts):
            ends.append(at / RATE)
        if midi:
            if len(ends) < len(starts):
                ends.append(at / RATE)
            starts.append(at / RATE)
            midis.append(midi)
    ends += [len(samples) / RATE] * (len(starts) - len(ends))
    spans = np.array([starts, ends]).T.reshape(-1, 2)
    spans[:, 1] = np.maximum(spans[:, 1], spans[:, 0] + 0.01)
    hz = 440.0 * 2.0 ** ((np.array(midis) - 69.0) / 12.0)
    shifted = [Notes(np.maximum(spans - late, 0.0), hz) for late in np.arange(0.0, 0.1, 0.01)]
    return max(shifted, key=lambda notes: sum(note_scores(tune, notes)))


def note_scores(tune: Melody, heard: Notes) -> list[float]:
    """Return the F-measure of the notes at each of `TOLERANCES`."""
    if not len(heard.hz):
        return [0.0] * len(TOLERANCES)
    return [
        mir_eval.transcription.precision_recall_f1_overlap(
            tune.spans,
            tune.held_hz,
            heard.spans,
            heard.hz,
            onset_tolerance=seconds,
            pitch_tolerance=cents,
            offset_ratio=None,
        )[2]
        for seconds, cents in TOLERANCES
    ]


def pitch_scores(tune: Melody, estimates: Track) -> list[float]:
    """Return raw pitch within 50 and 5 cents, chroma within 50, voicing recall, false alarms."""
    # The nearest reading to each time: mir_eval needs both on the same even grid.
    order = np.argsort(estimates.times, kind="stable")
    times, hz = estimates.times[order], np.nan_to_num(estimates.hz[order])
    between = 0.5 * (times[1:] + times[:-1])
    even = hz[np.searchsorted(between, tune.times)]
    series = mir_eval.melody.to_cent_voicing(tune.times, tune.hz, tune.times, even)
    raw = mir_eval.melody.raw_pitch_accuracy
    recall, false_alarm = mir_eval.melody.voicing_measures(series[0], series[2])
    return [
        raw(*series),
        raw(*series, cent_tolerance=5),
        mir_eval.melody.raw_chroma_accuracy(*series),
        recall,
        false_alarm,
    ]


HEAD = (
    "| detector | notes ±50 ms ±50 c | notes ±20 ms ±10 c | raw pitch 50 c | raw pitch 5 c "
    "| chroma 50 c | voicing recall | false alarm |"
)


def lines(player: Player, soft: bool) -> list[str]:
    """Return one melody's rows of the table: this ear, aubio's notes, and the quick peers."""
    tune = melody(player, soft)
    assert all(first[0] <= second[0] for first, second in pairwise(tune.spans))
    notes, pitch = ear_notes(tune)
    rows = [("this ear", note_scores(tune, notes), pitch_scores(tune, pitch))]
    rows.append(("aubio notes", note_scores(tune, aubio_notes(tune)), []))
    for peer in PEERS.values():
        if peer.slow:
            continue
        estimates = peer.run(tune.samples, RATE)
        estimates = peer.stamped(estimates, 0.5, RATE) if peer.buffer else estimates
        rows.append((peer.name, [], pitch_scores(tune, estimates)))
    how = "own attacks" if soft else "tongued"
    return [
        f"| {name}, {player.voice.name}, {how} | "
        + " | ".join(
            [f"{x:.3f}" for x in notes_]
            + ["–"] * (2 - len(notes_))
            + [f"{x:.3f}" for x in pitch_]
            + ["–"] * (5 - len(pitch_))
        )
        + " |"
        for name, notes_, pitch_ in rows
    ]
