"""From a recording to what is written of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from trainer.core import TrainerError
from trainer.core.types import Floats
from trainer.drill.fingerings import TargetPitch
from trainer.drill.model import Step
from trainer.drill.transpose import easiest_fingerings
from trainer.ear import HeardNote, analyze_blocks, track_notes
from trainer.ear.frontend import Frontend
from trainer.ear.motion import held_parts
from trainer.harp import Harp
from trainer.music import hz_to_midi, key_in_position
from trainer.sound import Block, Recording
from trainer.transcript.confidence import explained_fractions, unexplained_db
from trainer.transcript.harp_guess import (
    PitchEvent,
    candidate_harps,
    guess_harps,
    likeliest_position,
)
from trainer.transcript.model import HarpGuess, TranscribedNote, Transcript
from trainer.transcript.notation import notate
from trainer.transcript.note_values import quantize
from trainer.transcript.tones import find_tones
from trainer.transcript.two_parts import (
    PartAssignment,
    group_tones,
    separate_players,
    to_heard_note,
)

TUNED_CENTS = 4.0
"""A recording that lies less than this from A4 = 440 Hz is in tune."""
LONG_S = 0.12
"""Notes that are held so long tell how the harp is tuned."""
ANY_HARP_HZ = (90.0, 3400.0)
"""From under the lowest note of a low G harp to over the highest of a standard F# harp."""
RING_DB, RING_S, RING_GAP_S = -8.0, 0.15, 0.02
"""What rings on after a note is at least so much softer, shorter than this, and begins no later.
Measured in modelled rooms (``python -m benchmarks.transcripts``)."""
RINGING = 0.05
"""Where more sounds than this rang on for each note, that is said."""
DOUBTFUL_CONFIDENCE = 0.8
"""Notes that are less sure are marked."""
OTHERS_DB, OTHERS = -25.0, 0.1
"""Where more than such a share of the notes leaves more than that unexplained, a second player is
looked for."""
BEYOND_CENTS = 60.0
"""So far beyond a harp's lowest and highest note its reeds are looked for."""
ALIKE_DB = 3.0
"""Two players who differ by less are not told by how loud they are."""
NEXT_S = Fraction(1, 1000)
"""Seconds by which one note follows another at least."""


class TranscriptError(TrainerError):
    """A recording that cannot be written down."""


@dataclass(frozen=True, slots=True)
class TranscriptRequest:
    """What is known of a recording before it is heard; None is to be found.

    Attributes:
        path: the recording.
        channel: as in :class:`trainer.sound.RecordingSpec`.
        first, last: seconds between which it is heard.
        harp: what it was played on.
        harps: how many play over each other, 1 or 2.
        tuning: of the harps that are tried, where the harp is not known.
        a4: Hz that the harp is tuned to.
        tempo: beats a minute.
        meter: beats in a bar and the note value of one.
        first_beat: second on which the first full bar begins.
    """

    path: Path
    channel: int | None = None
    first: float = 0.0
    last: float | None = None
    harp: Harp | None = None
    harps: int | None = None
    tuning: str = "richter"
    a4: float | None = None
    tempo: float | None = None
    meter: tuple[int, int] | None = None
    first_beat: float | None = None


def transcribe(asked: TranscriptRequest) -> Transcript:
    """Write a recording down.

    Raises:
        SoundError: it cannot be read.
        TranscriptError: it has no such passage, or no note is heard in it.
    """
    played = _played(asked)
    harp = played.harp
    warnings = [] if played.two is None else _said_of_two(played.two)
    if asked.harps == 2 and played.two is None:
        warnings.append("no second harp is heard over the first")
    found = []
    for heard, shares in zip(played.players, played.shares, strict=True):
        notes = [
            replace(
                one, reverb_ratio=played.reverb_ratio, with_second_player=played.two is not None
            )
            for one in notate(heard, harp, shares)
        ]
        found.append(_least_movement(notes, harp))
    placed, meter = quantize(
        *found, tempo=asked.tempo, meter=asked.meter, first_beat=asked.first_beat
    )
    every = sorted((n for heard in played.players for n in heard), key=lambda note: note.start)
    position = likeliest_position([_sounded(note, harp.a4) for note in every], harp)
    tonic = key_in_position(harp.key.tonic, position)
    if meter is None:
        warnings.append("too few notes to find a beat in; times are in seconds")
    elif meter.near < 0.7:
        warnings.append(
            f"only {meter.near:.0%} of the notes fall near a beat or a part of one; give "
            "--tempo, --meter or --first-beat if you know them"
        )
    warnings += _doubts([note for part in placed for note in part])
    if played.reverb_ratio > RINGING:
        warnings.append(
            "the room rings on after the notes, which makes them run into each other; record "
            "nearer to the harp, or in a room with curtains"
        )
    second = placed[1] if len(placed) > 1 else ()
    return Transcript(
        asked.path.name, harp, placed[0], played.guesses, tonic, meter, tuple(warnings), second
    )


@dataclass(frozen=True, slots=True)
class _Played:
    """Who plays, on what, and what.

    Attributes:
        harp: what is played on.
        guesses: as in :class:`Transcript`.
        players: the notes of one player, or of two, without what only rings on.
        shares: for each note, how much of what sounds is explained.
        rings: how many sounds only rang on, for each note.
        two: how the notes came to be two players'; None where one is heard.
    """

    harp: Harp
    guesses: tuple[HarpGuess, ...]
    players: tuple[list[HeardNote], ...]
    shares: tuple[list[float], ...]
    reverb_ratio: float
    two: PartAssignment | None = None


def _played(asked: TranscriptRequest) -> _Played:
    """The passage as one player's, or as two players' where that is asked for or heard."""
    guesses: tuple[HarpGuess, ...] = ()
    if asked.harp is not None:
        harp, heard = asked.harp, _heard(asked, asked.harp)
    else:
        harp, heard, guesses = _on_the_likeliest(asked)
    clear = without_reverberation(heard)
    shares = _explained(asked, clear, harp)
    if asked.harps == 2 or (asked.harps is None and _others_sound(shares)):
        two = _two_players(asked, harp)
        if two is not None:
            return two
    reverb_ratio = (len(heard) - len(clear)) / len(clear)
    return _Played(harp, guesses, (clear,), (shares,), reverb_ratio)


def _others_sound(shares: Sequence[float]) -> bool:
    """Whether enough sounds that is no partial of one player's reeds to look for a second."""
    beside = sum(unexplained_db(share) > OTHERS_DB for share in shares)
    return beside > OTHERS * len(shares)


def _two_players(asked: TranscriptRequest, harp: Harp) -> _Played | None:
    """The passage as two players' on harps of one key; None where one is heard.

    Args:
        asked: what is known.
        harp: what one player would have played it on; where none was named, the likeliest one for
            both is taken.
    """
    samples, rate, times = _at_low_rate(asked)
    beyond = 2.0 ** (BEYOND_CENTS / 1200.0)
    targets = [harp.hz(tab) for tab in harp.entries]
    span = (min(targets) / beyond, max(targets) * beyond) if asked.harp else ANY_HARP_HZ
    sounding = find_tones(samples, rate, span)
    found = separate_players(group_tones(sounding, harp))
    if not found.second or not (found.two or asked.harps == 2):
        return None
    guesses: tuple[HarpGuess, ...] = ()
    if asked.harp is None:
        both = sorted((*found.first, *found.second), key=lambda note: note.start)
        sounded = [_sounded(to_heard_note(note, harp, times), harp.a4) for note in both]
        guesses = guess_harps(sounded, candidate_harps(asked.tuning, harp.a4))
        harp = guesses[0].harp
        found = separate_players(group_tones(sounding, harp))
    heard = [
        [to_heard_note(note, harp, times) for note in part] for part in (found.first, found.second)
    ]
    one, two = (without_reverberation(notes) for notes in heard)
    reverb_ratio = (sum(map(len, heard)) - len(one) - len(two)) / (len(one) + len(two))
    shares = (_explained(asked, one, harp, two), _explained(asked, two, harp, one))
    return _Played(harp, guesses, (one, two), shares, reverb_ratio, found)


def _at_low_rate(asked: TranscriptRequest) -> tuple[Floats, float, int]:
    """The passage at the ear's rate: samples, samples a second, and those of the recording."""
    recording = Recording(asked.path, asked.channel)
    try:
        heard = np.concatenate([block.samples for block in _passage(recording, asked)])
    finally:
        recording.close()
    front = Frontend(recording.rate, len(heard) / recording.rate)
    front.resample(heard)
    return front.window(front.count, front.count), front.rate, recording.rate


def _said_of_two(found: PartAssignment) -> list[str]:
    """What is to be said where two harps are written."""
    told = [
        "two harps sound over each other, and each is written as a part of its own; where one "
        "plays the note of the other, or an octave or a twelfth over it, or beside it in the same "
        "breath at the same moment, the sound does not tell them apart"
    ]
    if abs(found.louder_db) < ALIKE_DB:
        told.append(
            "both are about as loud, so only the way from note to note says which of them plays "
            "what, and the parts may change places"
        )
    if found.left:
        count = len(found.left)
        told.append(
            f"{count} {'sound fits' if count == 1 else 'sounds fit'} in neither part and "
            f"{'is' if count == 1 else 'are'} left out"
        )
    return told


def _heard(
    asked: TranscriptRequest, harp: Harp, span: tuple[float, float] | None = None
) -> list[HeardNote]:
    """The notes of the passage, on a harp; times count from the recording's start.

    Raises:
        TranscriptError: there are none, or there is no such passage.
    """
    recording = Recording(asked.path, asked.channel)
    try:
        blocks = _passage(recording, asked)
        found = list(track_notes(analyze_blocks(blocks, recording.rate, harp, span), harp))
    finally:
        recording.close()
    first = round(asked.first * recording.rate)
    inside = [note for note in found if note.start >= first]
    if not inside:
        raise TranscriptError(
            f"no note is heard in {asked.path.name}; is it the right file, and loud enough?"
        )
    return inside


def without_reverberation(heard: Sequence[HeardNote]) -> list[HeardNote]:
    """The notes without what only rings on, in a room, after one of them: short sounds that begin
    where it ends and are much softer."""
    kept: list[HeardNote] = []
    end = 0
    for note in heard:
        follows = bool(kept) and note.start - end <= RING_GAP_S * note.rate
        short = note.end - note.start < RING_S * note.rate
        if follows and short and note.level_db < kept[-1].level_db + RING_DB:
            end = note.end
            continue
        kept.append(note)
        end = note.end
    return kept


def _explained(
    asked: TranscriptRequest,
    heard: Sequence[HeardNote],
    harp: Harp,
    others: Sequence[HeardNote] = (),
) -> list[float]:
    """How much of what sounds the reeds of each note explain, beside another player's."""
    recording = Recording(asked.path, asked.channel)
    try:
        return explained_fractions(recording, heard, harp, others)
    finally:
        recording.close()


def _doubts(notes: Sequence[TranscribedNote]) -> list[str]:
    """What is to be said where much that sounds is no harp."""
    doubtful = [note for note in notes if (note.confidence or 1.0) < DOUBTFUL_CONFIDENCE]
    if not doubtful:
        return []
    return [
        f"something else sounds, too: {len(doubtful)} of {len(notes)} notes are "
        f"less than {DOUBTFUL_CONFIDENCE:.0%} sure, and marked so"
    ]


def _passage(recording: Recording, asked: TranscriptRequest) -> Iterator[Block]:
    """The blocks of the passage; what comes before it is silent.

    Raises:
        TranscriptError: the recording ends before it.
    """
    first = round(asked.first * recording.rate)
    last = None if asked.last is None else round(asked.last * recording.rate)
    reached = 0
    for block in recording.blocks():
        reached = block.end
        if last is not None and block.start >= last:
            return
        if block.start < first:
            samples = np.array(block.samples)
            samples[: first - block.start] = 0.0
            block = replace(block, samples=samples)
        if last is not None and block.end > last:
            inside = slice(last - block.start)
            reference = None if block.reference is None else block.reference[inside]
            block = replace(block, samples=block.samples[inside], reference=reference)
        yield block
    if reached <= first:
        raise TranscriptError(
            f"{asked.path.name} is {reached / recording.rate:.1f} s long; nothing is in it from "
            f"second {asked.first:g} on"
        )


def _on_the_likeliest(
    asked: TranscriptRequest,
) -> tuple[Harp, list[HeardNote], tuple[HarpGuess, ...]]:
    """The harp that the passage was most likely played on, and what is heard on it."""
    a4 = asked.a4 or 440.0
    first = _heard(asked, Harp.of("C", asked.tuning, a4=a4), ANY_HARP_HZ)
    if asked.a4 is None:
        a4 = estimate_a4(first)
    sounded = [_sounded(note, a4) for note in first]
    guesses = guess_harps(sounded, candidate_harps(asked.tuning, a4))
    best = guesses[0].harp
    return best, _heard(asked, best), guesses


def estimate_a4(heard: Sequence[HeardNote]) -> float:
    """A4 in Hz that notes are tuned to, by their distances from equal temperament.

    The distances are taken as angles, a half step the whole circle, and averaged as such by how
    long each note sounds (common practice), since a bent note may lie anywhere.
    """
    held = [note for note in heard if note.end - note.start >= LONG_S * note.rate]
    if not held:
        return 440.0
    lengths = np.array([(note.end - note.start) / note.rate for note in held])
    angles = 2.0 * np.pi * np.array([hz_to_midi(note.hz) for note in held])
    mean = complex(np.sum(lengths * np.exp(1j * angles)))
    cents = 100.0 * float(np.angle(mean)) / (2.0 * np.pi)
    return 440.0 if abs(cents) < TUNED_CENTS else round(440.0 * 2.0 ** (cents / 1200.0), 1)


def _sounded(note: HeardNote, a4: float) -> PitchEvent:
    """A heard note as a path of pitches, whatever the harp."""
    start, end = note.start / note.rate, note.end / note.rate
    hz = [note.hz]
    if note.motion.glide is not None:
        at, path = np.array(note.path, dtype=float).T
        held = held_parts((at - note.start) / note.rate, path, end - start)
        hz = [one.hz for one in held] or [note.motion.glide.start_hz, note.motion.glide.end_hz]
    midi = [round(hz_to_midi(one, a4)) for one in hz]
    kept = [one for i, one in enumerate(midi) if i == 0 or one != midi[i - 1]]
    return PitchEvent(start, end, tuple(TargetPitch((one,)) for one in kept))


def _least_movement(found: Sequence[TranscribedNote], harp: Harp) -> list[TranscribedNote]:
    """Each note on the hole, of those that sound alike, from which the whole moves least."""
    choices: list[tuple[Step, ...]] = []
    for note in found:
        at = Fraction(note.start).limit_denominator(1000)
        if choices:
            at = max(at, choices[-1][0].start + NEXT_S)
        ways = (note.sounds, *note.others)
        choices.append(tuple(Step(0, sounds, at, Fraction(1)) for sounds in ways))
    chosen = easiest_fingerings(choices, harp, 1.0)
    return [
        note
        if step.sounds == note.sounds
        else replace(
            note,
            sounds=step.sounds,
            others=tuple(one for one in (note.sounds, *note.others) if one != step.sounds),
        )
        for note, step in zip(found, chosen, strict=True)
    ]
