"""Requests to the listener's process that need no take: devices, round trips, transcripts.

The process that draws the screen must not open the sound system: that writes to the terminal on
which the screen is drawn, and its streams would share the screen's interpreter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Protocol, TypeVar

from trainer.drill import Drill
from trainer.practice.passes import saved_harp
from trainer.sound import (
    Device,
    MicrophoneSpec,
    RoundTrip,
    find_devices,
    measure_round_trip,
)
from trainer.store import Calibration, Journal, save_round_trip

if TYPE_CHECKING:
    from trainer.transcript import HarpGuess, TranscriptRequest

Answer = TypeVar("Answer", covariant=True)


class Request(Protocol[Answer]):
    """A question to the listener's process; must be picklable, and so must its answer."""

    needs_idle: ClassVar[bool]
    """Whether it waits until no take runs."""

    def answer(self, *, idle: bool) -> Answer:
        """Work out the answer, in the listener's process.

        Args:
            idle: whether no take runs, so that no stream is open.

        Raises:
            TrainerError: passed on to whoever asked.
        """


@dataclass(frozen=True, slots=True)
class ListDevices:
    """List all inputs and outputs.

    PortAudio looks for devices only when it starts. While a take runs, the list is as old as
    PortAudio's start in the listener's process.
    """

    needs_idle: ClassVar[bool] = False

    def answer(self, *, idle: bool) -> tuple[Device, ...]:
        """Return all devices, by number."""
        return find_devices(rescan=idle)


@dataclass(frozen=True, slots=True)
class CalibrationAnswer:
    """A measured round trip, and how it was stored."""

    calibration: Calibration
    round_trip: RoundTrip


@dataclass(frozen=True, slots=True)
class Calibrate:
    """Measure the round trip of a click and store it. Plays twelve clicks, for ten seconds.

    Attributes:
        spec: the microphone and the output.
        journal: where the round trip is stored; None for the default journal.
    """

    spec: MicrophoneSpec
    journal: Path | None
    needs_idle: ClassVar[bool] = True

    def answer(self, *, idle: bool) -> CalibrationAnswer:
        """Play the clicks, find them, and store the round trip."""
        with Journal(self.journal) as journal:
            pair, trip = measure_round_trip(self.spec)
            return CalibrationAnswer(save_round_trip(journal, pair, trip), trip)


@dataclass(frozen=True, slots=True)
class WrittenDown:
    """A passage of a recording, written down.

    Attributes:
        drill: its tab, to be played along with the recording.
        guesses: harps on which it may have been played, most likely first.
        a4: frequency of A4 in the recording, in hertz.
        warnings: for the reader of the tab, a sentence each.
    """

    drill: Drill
    guesses: tuple[HarpGuess, ...] = ()
    a4: float = 440.0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WriteDown:
    """Write a passage of a recording down as a drill that is played along with it.

    Takes some seconds a minute of sound.

    Attributes:
        passage: the passage, and what is known about it. Without a harp it is that of a saved
            take, or guessed.
    """

    passage: TranscriptRequest
    needs_idle: ClassVar[bool] = True

    def answer(self, *, idle: bool) -> WrittenDown:
        """Transcribe the passage."""
        from trainer.transcript import draft_drill, guess_drill_harps, transcribe

        path, channel = self.passage.path.resolve(), self.passage.channel
        harp = self.passage.harp or saved_harp(path)
        transcript = transcribe(replace(self.passage, path=path, harp=harp))
        drill = draft_drill(transcript, path.stem, recording=str(path), channel=channel)
        a4 = transcript.harp.a4
        guesses = transcript.guesses or guess_drill_harps(drill, a4)
        return WrittenDown(drill, guesses, a4, transcript.warnings)


@dataclass(frozen=True, slots=True)
class GuessHarps:
    """Guess on which harps a drill may have been played, from its notes.

    Attributes:
        drill: the drill.
    """

    drill: Drill
    needs_idle: ClassVar[bool] = True

    def answer(self, *, idle: bool) -> tuple[HarpGuess, ...]:
        """Return the harps, most likely first."""
        from trainer.transcript import guess_drill_harps

        return guess_drill_harps(self.drill)
