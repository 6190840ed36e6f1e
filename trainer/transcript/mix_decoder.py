"""From the network's activations to notes: a hidden Markov model of a mouth on a harp.

A state is silence or what one mouth can sound: an entry, neighbouring holes of one breath, or a
split. The log odds of a state against silence at a frame are the sum of the log odds of its
pitches, as the network gives them. A new state begins where the network hears an onset; moves to
holes far away are rarer; a bend moves between the entries of one hole and breath without an onset.
The most likely path (Viterbi 1967) is the line that is written.

Before the harp is known, the states are single pitches on the half steps of the recording's own
tuning.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from trainer.core.types import Bools, Floats, Ints
from trainer.ear import HeardNote, estimate_motion
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents, hz_to_midi
from trainer.transcript.harp_network import FRAME_S, Activations
from trainer.transcript.notation import nearest_entry_of_reed
from trainer.transcript.pitch_spectra import BINS_PER_SEMITONE, LOWEST_MIDI, PITCHES, SEMITONES


@dataclass(frozen=True, slots=True)
class MixParameters:
    """Constants of the decoder.

    Chosen on phrases and bands of TimGM6mb, one of the training fonts, with numbers from 500
    (``python -m benchmarks.records --choice``) unless a field says otherwise. On that font, no
    value that was tried changed F1 by more than 0.03. The font, voices and tunes that
    benchmarks/records.py reports on had no part in it.
    """

    max_log_odds: float = 4.0
    """Limit of the log odds of a pitch at a frame: neighbouring frames are not independent."""
    frame_weight: float = 0.6
    """Weight of a frame's log odds, for the same reason."""
    enter_cost: float = 2.0
    """Cost of a new note without evidence of an onset."""
    onset_weight: float = 1.0
    """Weight of the log odds of an onset."""
    leave_cost: float = 0.5
    """Cost of silence after a note."""
    hole_cost: float = 0.15
    """Cost of a move per hole beyond the next one."""
    bend_cost: float = 3.0
    """Cost of a move between entries of one hole and breath without an onset."""
    bent_cost: float = 0.4
    """Cost of a note per half step of bend (common practice: rarer than natural notes)."""
    over_cost: float = 2.5
    """Cost of an overblow or overdraw (common practice)."""
    chord_cost: float = 1.0
    """Cost of each further hole in a sound."""
    slurred_onset: float = 0.25
    """Highest onset within a bend: above it, the bend is a note of its own."""
    onset_reach: int = 2
    """Frames on either side of a new state in which its onset is looked for."""
    min_note_s: float = 0.06
    """Minimum duration of a note, seconds."""
    min_activation: float = 0.35
    """Minimum mean activation of a note."""
    min_tuning_activation: float = 0.5
    """Minimum activation of the frames from which the tuning is estimated."""


MIX = MixParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class MixNote:
    """A note of the decoded line.

    Attributes:
        first, last: frames.
        start: seconds; between frames where the onset lies between them.
        midi: pitches in half steps, main one first, as fractions of MIDI note numbers.
        tabs: entries, in the order of `midi`; empty before the harp is known.
        activation: mean activation of its pitches, 0 to 1.
        onset: highest onset near its start, 0 to 1.
    """

    first: int
    last: int
    start: float
    midi: tuple[float, ...]
    tabs: tuple[Tab, ...]
    activation: float
    onset: float

    @property
    def end(self) -> float:
        """Offset in seconds."""
        return self.last * FRAME_S


@dataclass(frozen=True, slots=True)
class _States:
    """What can sound, silence first.

    Attributes:
        midi: pitches of each state.
        tabs: entries of each state, empty without a harp.
        cost: cost of entering each, shape (n,).
        moves: additional cost from state to state, shape (n, n).
        slurs: pairs of states between which a bend moves, shape (n, n).
    """

    midi: tuple[tuple[float, ...], ...]
    tabs: tuple[tuple[Tab, ...], ...]
    cost: Floats
    moves: Floats
    slurs: Bools


def recording_a4(heard: Activations) -> float:
    """Return the reference pitch A4 in Hz that fits the activations best.

    The deviation from equal temperament is an angle; the result is its mean on the circle.
    """
    angle = 2.0 * np.pi * np.arange(-1, PITCHES - 1) / BINS_PER_SEMITONE
    weight = np.where(heard.pitch > MIX.min_tuning_activation, heard.pitch, 0.0).sum(axis=0)
    mean = complex(np.sum(weight * np.exp(1j * angle)))
    if abs(mean) < 1e-3 * float(weight.sum() + 1e-9) or not weight.any():
        return 440.0
    return 440.0 * 2.0 ** (float(np.angle(mean)) / (2.0 * np.pi) / 12.0)


def polyphony(heard: Activations) -> float:
    """Return the fraction of the harp's time in which two pitches or more sound, 0 to 1."""
    half = heard.pitch.reshape(len(heard.pitch), SEMITONES, BINS_PER_SEMITONE).max(axis=2)
    sounding = half > MIX.min_tuning_activation
    starts = sounding & ~np.pad(sounding, ((0, 0), (1, 0)))[:, :-1]  # neighbours are one pitch
    count = starts.sum(axis=1)
    return float(np.mean(count[count > 0] > 1)) if (count > 0).any() else 0.0


def decode_pitches(heard: Activations, a4: float) -> list[MixNote]:
    """Return the notes of the line, whatever the harp.

    Args:
        heard: what the network hears.
        a4: reference pitch, Hz.
    """
    off = 12.0 * np.log2(a4 / 440.0)
    midi = tuple((LOWEST_MIDI + i + off,) for i in range(1, SEMITONES - 1))
    count = len(midi) + 1
    states = _States(
        ((), *midi),
        ((),) * count,
        np.zeros(count),
        np.zeros((count, count)),
        np.zeros((count, count), bool),
    )
    return _decode(heard, states)


def decode_line(heard: Activations, harp: Harp) -> list[MixNote]:
    """Return the notes of the line as played on a harp."""
    return _decode(heard, _harp_states(harp))


def _harp_states(harp: Harp) -> _States:
    """The states of a harp."""
    p = MIX
    sounds: list[tuple[Tab, ...]] = [()]
    pitches: set[int] = set()
    for tab in sorted(harp.entries, key=lambda tab: (tab.over, tab.bend, tab.hole)):
        if harp.midi(tab) not in pitches or not tab.over:
            sounds.append((tab,))
            pitches.add(harp.midi(tab))
    for breath in Breath:
        for hole in range(1, 11):
            for holes in ((hole, hole + 1), (hole, hole + 1, hole + 2), (hole, hole + 3)):
                if holes[-1] <= 10:
                    sounds.append(tuple(Tab(number, breath) for number in holes))
    midi = tuple(tuple(float(hz_to_midi(harp.hz(tab))) for tab in sound) for sound in sounds)
    cost = np.array(
        [
            sum(p.bent_cost * tab.bend + p.over_cost * tab.over for tab in sound)
            + p.chord_cost * max(0, len(sound) - 1)
            for sound in sounds
        ]
    )
    middle = np.array(
        [np.mean([tab.hole for tab in sound]) if sound else np.nan for sound in sounds]
    )
    distance = np.abs(middle[:, None] - middle[None, :])
    moves = np.nan_to_num(p.hole_cost * np.maximum(0.0, distance - 1.0))
    single = [sound[0] if len(sound) == 1 and not sound[0].over else None for sound in sounds]
    slurs = np.array(
        [
            [
                a is not None
                and b is not None
                and a != b
                and a.hole == b.hole
                and a.breath is b.breath
                for b in single
            ]
            for a in single
        ]
    )
    return _States(midi, tuple(sounds), cost, moves, slurs)


def _log_odds(probability: Floats, limit: float) -> Floats:
    clipped = np.clip(probability, 1e-6, 1.0 - 1e-6)
    return np.clip(np.log(clipped / (1.0 - clipped)), -limit, limit)


def _near_bins(midi: float) -> slice:
    """Bins of a pitch and its neighbours: a reed may be a third of a half step off."""
    place = round((midi - LOWEST_MIDI) * BINS_PER_SEMITONE) + 1
    place = min(max(1, place), PITCHES - 2)
    return slice(place - 1, place + 2)


def _evidence(heard: Activations, states: _States) -> tuple[Floats, Floats]:
    """Log odds of each state at each frame, and of an onset of it, shapes (frames, states)."""
    p = MIX
    frames = len(heard.presence)
    sounding = np.zeros((frames, len(states.midi)))
    onset = np.full((frames, len(states.midi)), -p.max_log_odds)
    spread = heard.onset.copy()
    for by in range(1, p.onset_reach + 1):
        spread[by:] = np.maximum(spread[by:], heard.onset[:-by])
        spread[:-by] = np.maximum(spread[:-by], heard.onset[by:])
    known: dict[float, tuple[Floats, Floats]] = {}
    for i, pitches in enumerate(states.midi):
        if not pitches:
            continue
        for midi in pitches:
            if midi not in known:
                odds = _log_odds(heard.pitch[:, _near_bins(midi)].max(axis=1), p.max_log_odds)
                half = min(max(0, round(midi) - LOWEST_MIDI), SEMITONES - 1)
                begins = _log_odds(spread[:, half], p.max_log_odds)
                known[midi] = (odds, begins)
        sounding[:, i] = p.frame_weight * sum(known[midi][0] for midi in pitches)
        onset[:, i] = np.mean([known[midi][1] for midi in pitches], axis=0)
    return sounding, p.onset_weight * onset


def _most_likely(sounding: Floats, onset: Floats, states: _States) -> tuple[Ints, Bools]:
    """The most likely state of each frame, and whether it is entered there."""
    p = MIX
    frames, count = sounding.shape
    enter = states.moves + p.enter_cost + states.cost[None, :]
    leave = p.leave_cost
    slur = np.where(states.slurs, p.bend_cost, np.inf)
    score = np.where(np.arange(count) == 0, 0.0, -np.inf)
    source = np.zeros((frames, count), np.int64)
    entered = np.zeros((frames, count), bool)
    to = np.arange(count)
    has_slurs = bool(states.slurs.any())
    for t in range(frames):
        # A new attack pays for the state and the move, and earns the evidence of an onset.
        attack = score[:, None] - enter
        before = np.argmax(attack, axis=0)
        reached = attack[before, to] + onset[t]
        if has_slurs:
            slurred = score[:, None] - slur
            slurred_before = np.argmax(slurred, axis=0)
            value = slurred[slurred_before, to]
            better = value > reached
            reached = np.where(better, value, reached)
            before = np.where(better, slurred_before, before)
        silent = int(np.argmax(score))
        reached[0] = score[silent] - (leave if silent else 0.0)
        before[0] = silent
        stays = score >= reached
        entered[t] = ~stays
        entered[t, 0] = silent != 0
        source[t] = np.where(stays, to, before)
        score = np.where(stays, score, reached) + sounding[t]
        score -= score.max()
    path = np.zeros(frames, np.int64)
    begins = np.zeros(frames, bool)
    state = int(np.argmax(score))
    for t in range(frames - 1, -1, -1):
        path[t] = state
        begins[t] = entered[t, state]
        state = int(source[t, state])
    return path, begins


def _decode(heard: Activations, states: _States) -> list[MixNote]:
    sounding, onset = _evidence(heard, states)
    path, begins = _most_likely(sounding, onset, states)
    edges = [t for t in range(len(path)) if begins[t] or (t and path[t] != path[t - 1])]
    notes = []
    for first, last in pairwise([*edges, len(path)]):
        state = int(path[first])
        if not state:
            continue
        note = _note(heard, first, last, states.midi[state], states.tabs[state])
        if note.end - note.start >= MIX.min_note_s and note.activation >= MIX.min_activation:
            notes.append(note)
    return notes


def _note(
    heard: Activations, first: int, last: int, midi: tuple[float, ...], tabs: tuple[Tab, ...]
) -> MixNote:
    activation = np.mean(
        [heard.pitch[first:last, _near_bins(note)].max(axis=1).mean() for note in midi]
    )
    low, high = max(0, first - MIX.onset_reach), min(len(heard.onset), first + MIX.onset_reach + 1)
    halves = [min(max(0, round(note) - LOWEST_MIDI), SEMITONES - 1) for note in midi]
    curve = heard.onset[low:high, halves].mean(axis=1)
    strength = float(curve.max())
    start = first * FRAME_S
    if strength > MIX.slurred_onset:
        peak = int(np.argmax(curve))
        around = slice(max(0, peak - 1), peak + 2)
        weights = curve[around]
        start = float(np.sum(weights * np.arange(low, high)[around]) / weights.sum()) * FRAME_S
    return MixNote(first, last, start, midi, tabs, float(activation), strength)


def pitch_track(heard: Activations, note: MixNote) -> tuple[Floats, Floats]:
    """Return the main pitch of a note by frames: seconds, and Hz.

    The centroid of the activation about its highest bin, within a half step of the note.
    """
    place = round((note.midi[0] - LOWEST_MIDI) * BINS_PER_SEMITONE) + 1
    low, high = max(1, place - 2), min(PITCHES - 1, place + 3)
    part = heard.pitch[note.first : note.last, low - 1 : high + 1].astype(float)
    peak = np.argmax(part[:, 1:-1], axis=1) + 1
    rows = np.arange(len(part))
    near = np.stack([part[rows, peak + by] for by in (-1, 0, 1)])
    bins = low - 1 + peak + (near[2] - near[0]) / np.maximum(near.sum(axis=0), 1e-6)
    midi = LOWEST_MIDI + (bins - 1.0) / BINS_PER_SEMITONE
    seconds = np.arange(note.first, note.last) * FRAME_S
    return seconds, 440.0 * 2.0 ** ((midi - 69.0) / 12.0)


def to_heard_notes(
    heard: Activations, notes: Sequence[MixNote], harp: Harp, samples: Floats, rate: float, to: int
) -> tuple[list[HeardNote], list[float]]:
    """Return notes in the form of the ear's, and the mean activation of each.

    Args:
        heard: what the network hears.
        notes: the decoded line.
        harp: the harp.
        samples: the sound, shape (n,).
        rate: samples per second of `samples`.
        to: samples per second by which the notes count.
    """
    groups: list[list[MixNote]] = []
    for note in notes:
        if groups and _is_slurred(groups[-1][-1], note):
            groups[-1].append(note)
        else:
            groups.append([note])
    result, certain = [], []
    for group in groups:
        tracks = [pitch_track(heard, note) for note in group]
        seconds = np.concatenate([track[0] for track in tracks])
        hz = np.concatenate([track[1] for track in tracks])
        longest = max(group, key=lambda note: note.last - note.first)
        start, end = group[0].start, group[-1].end
        held = tracks[group.index(longest)][1]
        held_hz = float(np.median(held[len(held) // 4 :]))
        tab = nearest_entry_of_reed(held_hz, longest.tabs[0], harp)
        sound = samples[round(start * rate) : round(end * rate)]
        power = float(np.mean(sound**2)) if len(sound) else 0.0
        result.append(
            HeardNote(
                start=round(start * to),
                end=round(end * to),
                rate=to,
                tab=tab,
                hz=held_hz,
                cents=cents(held_hz, harp.hz(tab)),
                also=harp.same_pitch(tab),
                holes=tuple(sorted({tab.hole, *(other.hole for other in longest.tabs[1:])})),
                leak_db=None,
                leak_hole=None,
                level_db=10.0 * float(np.log10(power + 1e-12)),
                path=tuple(
                    (round(second * to), float(f0)) for second, f0 in zip(seconds, hz, strict=True)
                ),
                motion=estimate_motion(seconds - start, hz, end - start),
                tremolo=None,
            )
        )
        lengths = np.array([note.last - note.first for note in group], float)
        certain.append(float(np.average([note.activation for note in group], weights=lengths)))
    return result, certain


def _is_slurred(before: MixNote, after: MixNote) -> bool:
    """Whether a note goes on from the one before by a bend."""
    if len(before.tabs) != 1 or len(after.tabs) != 1 or before.last != after.first:
        return False
    a, b = before.tabs[0], after.tabs[0]
    same = a.hole == b.hole and a.breath is b.breath and a.over == b.over
    return same and a != b and after.onset <= MIX.slurred_onset
