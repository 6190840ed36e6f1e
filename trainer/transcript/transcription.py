"""Transcribe a recording: who plays, on which harp, which notes, in which bars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import compress

import numpy as np

from trainer.core.threads import limit_blas_threads
from trainer.drill import (
    PitchEvent,
    Step,
    TargetPitch,
    easiest_fingerings,
    likeliest_position,
)
from trainer.ear import HeardNote
from trainer.harp import Harp
from trainer.music import hz_to_midi, key_in_position
from trainer.transcript.beat_tracking import BEAT
from trainer.transcript.confidence import unexplained_db
from trainer.transcript.count_off import COUNT_OFF, CountOff, find_count_off
from trainer.transcript.harp_guess import candidate_harps, guess_harps
from trainer.transcript.harp_network import hear_harp
from trainer.transcript.mix_decoder import (
    MixNote,
    decode_line,
    decode_pitches,
    polyphony,
    recording_a4,
    to_heard_notes,
)
from trainer.transcript.model import (
    DOUBTFUL_CONFIDENCE,
    HarpGuess,
    Meter,
    TranscribedNote,
    Transcript,
)
from trainer.transcript.notation import notate, pitch_events
from trainer.transcript.note_values import quantize
from trainer.transcript.request import (
    TranscriptError,
    TranscriptRequest,
    explain_passage,
    hear_passage,
    resample_passage,
)
from trainer.transcript.tones import find_tones
from trainer.transcript.two_parts import (
    PartAssignment,
    group_tones,
    separate_players,
    to_heard_note,
)


@dataclass(frozen=True, slots=True)
class TranscriptParameters:
    """Constants of the transcription.

    Chosen on the phrases of benchmarks/transcripts.py and benchmarks/duets.py unless a field says
    otherwise.
    """

    in_tune_cents: float = 4.0
    """Distance from A4 = 440 Hz under which a recording counts as in tune, cents."""
    min_tuning_note_s: float = 0.12
    """Minimum duration of a note from which the reference pitch is estimated, seconds."""
    any_harp_hz: tuple[float, float] = (90.0, 3400.0)
    """Range of f0 while the harp is unknown, Hz: from below the lowest note of a low G harp to
    above the highest of a standard F# harp."""
    reverb_db: float = -8.0
    """Maximum level of reverberation relative to the note before it, dB. This and the next two
    were measured in modelled rooms (``python -m benchmarks.transcripts``)."""
    reverb_s: float = 0.15
    """Maximum duration of a sound that is reverberation, seconds."""
    reverb_gap_s: float = 0.02
    """Maximum gap between a note and its reverberation, seconds."""
    max_reverb_ratio: float = 0.05
    """Sounds of reverberation per note from which a warning is given."""
    other_sound_db: float = -25.0
    """Unexplained energy of a note from which other sound is present, dB."""
    other_sound_fraction: float = 0.1
    """Fraction of such notes from which a second player is searched."""
    beyond_cents: float = 60.0
    """Distance beyond a harp's lowest and highest note to which its reeds are searched, cents."""
    alike_db: float = 3.0
    """Difference in level under which two players cannot be distinguished by it, dB."""
    max_polyphony: float = 0.25
    """Fraction of the harp's time in which it sounds two pitches or more from which a second
    player is searched before one player in a mix."""
    max_reed_unexplained_db: float = -14.0
    """Unexplained energy of a note up to which it is surely a reed's and no count-off's, dB (chosen
    by hand)."""
    resampled_s: float = 0.5
    """Sound that is read beyond what is looked at, seconds: a resampler delays its last samples."""
    min_vote: float = 0.6
    """Minimum mean activation of a note that votes for the harp."""
    min_near: float = 0.7
    """Fraction of notes near a beat under which a warning is given."""


TRANSCRIPT = TranscriptParameters()
"""The constants in use."""

MIN_STEP_BEATS = Fraction(1, 1000)
"""Minimum distance between the starts of two notes, for the choice of fingerings."""


def transcribe(request: TranscriptRequest) -> Transcript:
    """Transcribe a recording.

    Raises:
        SoundError: the recording cannot be read.
        TranscriptError: it has no such passage, no note, or fewer guesses than the pick.
    """
    limit_blas_threads()
    playing = _without_count_off(_identify_players(request), request)
    _check_pick(request, playing.guesses)
    harp, two = playing.harp, playing.two
    parts = []
    for heard, explained in zip(playing.players, playing.explained, strict=True):
        notes = [
            replace(note, activation=note.explained, explained=None)
            if playing.in_mix
            else replace(
                note, reverb_ratio=playing.reverb_ratio, with_second_player=two is not None
            )
            for note in notate(heard, harp, explained)
        ]
        parts.append(_with_least_movement(notes, harp))
    quantized, meter = tuple(map(tuple, parts)), None
    if not request.free_time:
        quantized, meter = quantize(
            *parts,
            tempo=request.tempo,
            meter=request.meter,
            first_beat=request.first_beat,
            count_off=playing.count_off,
        )
    every = sorted((n for heard in playing.players for n in heard), key=lambda note: note.start)
    position = likeliest_position(
        [event for note in every for event in pitch_events(note, harp.a4)], harp
    )
    return Transcript(
        name=request.path.name,
        harp=harp,
        notes=quantized[0],
        guesses=playing.guesses,
        tonic=key_in_position(harp.key.tonic, position),
        meter=meter,
        warnings=tuple(_warnings(request, playing, quantized, meter)),
        second=quantized[1] if len(quantized) > 1 else (),
    )


@dataclass(frozen=True, slots=True)
class _Playing:
    """The players, their harp and their notes.

    Attributes:
        harp: the harp.
        guesses: as in :class:`Transcript`.
        players: notes of one player or two, without reverberation.
        explained: explained fraction of each note; its activation if `in_mix`.
        reverb_ratio: dropped sounds of reverberation per note.
        two: how the notes were assigned to two players; None for one player.
        damage: as in :attr:`trainer.sound.Recording.damage`.
        in_mix: whether the network heard the notes, among other sounds.
        count_off: the count-off before them.
    """

    harp: Harp
    guesses: tuple[HarpGuess, ...]
    players: tuple[list[HeardNote], ...]
    explained: tuple[list[float], ...]
    reverb_ratio: float
    two: PartAssignment | None = None
    damage: str = ""
    in_mix: bool = False
    count_off: CountOff | None = None


def _identify_players(request: TranscriptRequest) -> _Playing:
    """Hear the passage as one player's, or as two players' if that is given or detected."""
    guesses: tuple[HarpGuess, ...] = ()
    if request.harp is not None:
        harp, heard = request.harp, hear_passage(request, request.harp)
    else:
        harp, heard, guesses = _hear_on_likeliest_harp(request)
    dry = without_reverberation(heard)
    explained, damage = explain_passage(request, dry, harp)
    reverb_ratio = (len(heard) - len(dry)) / len(dry)
    disturbed = _has_other_sound(explained) or reverb_ratio > TRANSCRIPT.max_reverb_ratio
    if request.harps != 2 and disturbed:
        mixed = _identify_in_mix(request, damage)
        if mixed is not None:
            return mixed
    if request.harps == 2 or (request.harps is None and _has_other_sound(explained)):
        two = _identify_two_players(request, harp)
        if two is not None:
            return two
    return _Playing(harp, guesses, (dry,), (explained,), reverb_ratio, damage=damage)


def _identify_in_mix(request: TranscriptRequest, damage: str) -> _Playing | None:
    """Hear one player among other sounds; None if no harp is heard, or two are.

    Args:
        request: the passage.
        damage: as in :attr:`trainer.sound.Recording.damage`.
    """
    samples, rate, source_rate = resample_passage(request)
    heard = hear_harp(samples, rate)
    if request.harps is None and polyphony(heard) > TRANSCRIPT.max_polyphony:
        return None
    guesses: tuple[HarpGuess, ...] = ()
    harp = request.harp
    if harp is None:
        a4 = request.a4 or _rounded_a4(recording_a4(heard))
        votes = [note for note in decode_pitches(heard, a4) if note.start >= request.first]
        trusted = [note for note in votes if note.activation >= TRANSCRIPT.min_vote]
        guesses = guess_harps(
            [_mix_event(note, a4) for note in trusted or votes], candidate_harps(request.tuning, a4)
        )
        if not guesses:
            return None
        harp = _picked(request, guesses)
    line = [note for note in decode_line(heard, harp) if note.start >= request.first]
    if not line:
        return None
    notes, activation = to_heard_notes(heard, line, harp, samples, rate, source_rate)
    return _Playing(harp, guesses, (notes,), (activation,), 0.0, damage=damage, in_mix=True)


def _without_count_off(playing: _Playing, request: TranscriptRequest) -> _Playing:
    """The players without what was heard of a count-off, which is found in the sound."""
    p = TRANSCRIPT
    sure = []
    for heard, explained in zip(playing.players, playing.explained, strict=True):
        for note, fraction in zip(heard, explained, strict=True):
            trusted = (
                fraction >= p.min_vote
                if playing.in_mix
                else unexplained_db(fraction) <= p.max_reed_unexplained_db
            )
            if trusted:
                sure.append(note.start / note.rate)
    count_off = _count_off_before(min(sure), request) if sure else None
    if count_off is None:
        return playing
    players, fractions = [], []
    for heard, explained in zip(playing.players, playing.explained, strict=True):
        music = [note.start / note.rate >= count_off.music for note in heard]
        players.append(list(compress(heard, music)))
        fractions.append(list(compress(explained, music)))
    return replace(playing, players=tuple(players), explained=tuple(fractions), count_off=count_off)


def _count_off_before(first: float, request: TranscriptRequest) -> CountOff | None:
    """The count-off before a note at second `first`; what comes later is not read."""
    if first - request.first < COUNT_OFF.shortest_s:
        return None
    until = first + COUNT_OFF.after_s + TRANSCRIPT.resampled_s
    last = until if request.last is None else min(request.last, until)
    samples, rate, _ = resample_passage(replace(request, last=last))
    return find_count_off(samples, rate, first)


def _mix_event(note: MixNote, a4: float) -> PitchEvent:
    """A decoded note as pitches, whatever the harp."""
    off = 12.0 * float(np.log2(a4 / 440.0))
    pitches = tuple(round(midi - off) for midi in note.midi)
    return PitchEvent(note.start, note.end, (TargetPitch(pitches),))


def _has_other_sound(explained: Sequence[float]) -> bool:
    """Whether one player leaves enough unexplained to search for a second."""
    p = TRANSCRIPT
    count = sum(unexplained_db(fraction) > p.other_sound_db for fraction in explained)
    return count > p.other_sound_fraction * len(explained)


def _identify_two_players(request: TranscriptRequest, harp: Harp) -> _Playing | None:
    """Hear the passage as two players' on harps of one key; None if only one is detected.

    Args:
        request: the passage.
        harp: harp of a single player. Unless it was given, the most likely one of both players is
            taken instead.
    """
    samples, rate, source_rate = resample_passage(request)
    beyond = 2.0 ** (TRANSCRIPT.beyond_cents / 1200.0)
    targets = [harp.hz(tab) for tab in harp.entries]
    if request.harp:
        span = (min(targets) / beyond, max(targets) * beyond)
    else:
        span = TRANSCRIPT.any_harp_hz
    tones = find_tones(samples, rate, span)
    assignment = separate_players(group_tones(tones, harp))
    if not assignment.second or not (assignment.two or request.harps == 2):
        return None
    guesses: tuple[HarpGuess, ...] = ()
    if request.harp is None:
        both = sorted((*assignment.first, *assignment.second), key=lambda note: note.start)
        events = [
            event
            for note in both
            for event in pitch_events(to_heard_note(note, harp, source_rate), harp.a4)
        ]
        guesses = guess_harps(events, candidate_harps(request.tuning, harp.a4))
        harp = _picked(request, guesses)
        assignment = separate_players(group_tones(tones, harp))
    heard = [
        [to_heard_note(note, harp, source_rate) for note in part]
        for part in (assignment.first, assignment.second)
    ]
    first, second = (without_reverberation(notes) for notes in heard)
    kept = len(first) + len(second)
    reverb_ratio = (sum(map(len, heard)) - kept) / kept
    by_first, damage = explain_passage(request, first, harp, second)
    by_second, _ = explain_passage(request, second, harp, first)
    explained = (by_first, by_second)
    return _Playing(harp, guesses, (first, second), explained, reverb_ratio, assignment, damage)


def _hear_on_likeliest_harp(
    request: TranscriptRequest,
) -> tuple[Harp, list[HeardNote], tuple[HarpGuess, ...]]:
    """The most likely harp, the notes on it, and all candidates."""
    a4 = request.a4 or 440.0
    any_harp = Harp.of("C", request.tuning or "richter", a4=a4)
    heard = hear_passage(request, any_harp, TRANSCRIPT.any_harp_hz)
    if request.a4 is None:
        a4 = estimate_a4(heard)
    events = [event for note in heard for event in pitch_events(note, a4)]
    guesses = guess_harps(events, candidate_harps(request.tuning, a4))
    best = _picked(request, guesses)
    return best, hear_passage(request, best), guesses


def _warnings(
    request: TranscriptRequest,
    playing: _Playing,
    parts: Sequence[Sequence[TranscribedNote]],
    meter: Meter | None,
) -> list[str]:
    """Warnings for the reader of the transcript, a sentence each."""
    warnings = [] if playing.two is None else _two_player_warnings(playing.two)
    if playing.damage:
        warnings.insert(0, f"the recording {playing.damage}; what comes before was used")
    if request.harps == 2 and playing.two is None:
        warnings.append("no second harp is heard")
    if playing.count_off is not None:
        warnings.append("the count-off gives tempo and first beat, and is not written as notes")
    if meter is None and not request.free_time:
        many = sum(map(len, parts)) >= BEAT.min_notes
        warnings.append(
            "free time: give --tempo if there is a beat" if many else "too few notes for a beat"
        )
    elif meter is not None and meter.near < TRANSCRIPT.min_near:
        warnings.append(
            f"only {meter.near:.0%} of the notes fall near a beat: give --tempo, --meter or "
            "--first-beat if you know them, or --free-time if there is no beat"
        )
    notes = [note for part in parts for note in part]
    doubtful = [note for note in notes if note.is_doubtful]
    if doubtful:
        warnings.append(
            f"other sounds are mixed in: {len(doubtful)} of {len(notes)} notes are less than "
            f"{DOUBTFUL_CONFIDENCE:.0%} sure and marked"
        )
    elif playing.in_mix:
        warnings.append(
            "other sounds or reverberation are mixed in, and the harp was picked out of them: "
            "check the notes by ear"
        )
    if playing.reverb_ratio > TRANSCRIPT.max_reverb_ratio:
        warnings.append(
            "record nearer to the harp or in a room with curtains: reverberation runs the notes "
            "together"
        )
    return warnings


def _two_player_warnings(assignment: PartAssignment) -> list[str]:
    """Warnings about a transcript of two harps."""
    warnings = [
        "two harps sound at once, each is a part: check where they meet in a unison, octave or "
        "twelfth, or start together in one breath"
    ]
    if abs(assignment.louder_db) < TRANSCRIPT.alike_db:
        warnings.append("both harps are equally loud, so the parts may be swapped")
    count = len(assignment.left)
    if count:
        warnings.append(
            f"{count} sound fits neither part and is left out"
            if count == 1
            else f"{count} sounds fit neither part and are left out"
        )
    return warnings


def without_reverberation(heard: Sequence[HeardNote]) -> list[HeardNote]:
    """Return the notes without reverberation.

    Reverberation is a short sound that begins where a note ends and is much softer.
    """
    p = TRANSCRIPT
    kept: list[HeardNote] = []
    end = 0
    for note in heard:
        follows = bool(kept) and note.start - end <= p.reverb_gap_s * note.rate
        short = note.end - note.start < p.reverb_s * note.rate
        if follows and short and note.level_db < kept[-1].level_db + p.reverb_db:
            end = note.end
            continue
        kept.append(note)
        end = note.end
    return kept


def estimate_a4(heard: Sequence[HeardNote]) -> float:
    """Return the reference pitch A4 in Hz, from the deviations from equal temperament.

    A deviation is an angle, with a half step as the full circle. The result is the circular mean,
    weighted by duration (common practice), as a bent note may lie anywhere.
    """
    p = TRANSCRIPT
    held = [note for note in heard if note.end - note.start >= p.min_tuning_note_s * note.rate]
    if not held:
        return 440.0
    lengths = np.array([(note.end - note.start) / note.rate for note in held])
    angles = 2.0 * np.pi * np.array([hz_to_midi(note.hz) for note in held])
    mean = complex(np.sum(lengths * np.exp(1j * angles)))
    return _rounded_a4(440.0 * 2.0 ** (float(np.angle(mean)) / (2.0 * np.pi) / 12.0))


def _rounded_a4(hz: float) -> float:
    """A reference pitch to a tenth of a hertz; 440 if it is near that."""
    off = abs(1200.0 * float(np.log2(hz / 440.0)))
    return 440.0 if off < TRANSCRIPT.in_tune_cents else round(hz, 1)


def _picked(request: TranscriptRequest, guesses: Sequence[HarpGuess]) -> Harp:
    """The guessed harp that the request picks; the last one if there are fewer."""
    return guesses[min(request.pick, len(guesses)) - 1].harp


def _check_pick(request: TranscriptRequest, guesses: Sequence[HarpGuess]) -> None:
    """Check that the request picks one of the guessed harps.

    Raises:
        TranscriptError: there are fewer.
    """
    if guesses and request.pick > len(guesses):
        raise TranscriptError(
            f"pick 1 to {len(guesses)}, or name the harp: there is no guess {request.pick} of "
            f"{request.path.name}"
        )


def _with_least_movement(notes: Sequence[TranscribedNote], harp: Harp) -> list[TranscribedNote]:
    """The notes, each on that alternative with which the whole moves least."""
    choices: list[tuple[Step, ...]] = []
    for note in notes:
        start = Fraction(note.start).limit_denominator(1000)
        if choices:
            start = max(start, choices[-1][0].start + MIN_STEP_BEATS)
        paths = (note.sounds, *note.alternatives)
        choices.append(tuple(Step(0, sounds, start, Fraction(1)) for sounds in paths))
    chosen = easiest_fingerings(choices, harp, 1.0)
    return [
        note
        if step.sounds == note.sounds
        else replace(
            note,
            sounds=step.sounds,
            alternatives=tuple(
                path for path in (note.sounds, *note.alternatives) if path != step.sounds
            ),
        )
        for note, step in zip(notes, chosen, strict=True)
    ]
