"""From a spec to a source: the one place where sound is opened."""

from __future__ import annotations

from trainer.drill import Drill
from trainer.harp import Harp
from trainer.sound.accompaniment import accompaniment_steps
from trainer.sound.click import ClickTrack
from trainer.sound.errors import SoundError
from trainer.sound.sources.microphone import Microphone
from trainer.sound.sources.player import BuiltInPlayer
from trainer.sound.sources.recording import Recording
from trainer.sound.sources.replay import Replay
from trainer.sound.sources.spec import MicrophoneSpec, RecordingSpec, SourceSpec


def open_source(
    spec: SourceSpec,
    *,
    drill: Drill | None = None,
    harp: Harp | None = None,
    tempo: float | None = None,
    bars: tuple[int, int] | None = None,
    count_in: int | None = None,
) -> Microphone | Recording | BuiltInPlayer:
    """The source that a spec names, ready to give blocks.

    Args:
        spec: which one.
        drill: what is to be played; the built-in player plays it, a microphone clicks to it.
        harp: what the built-in player plays it on, and the trainer its own steps.
        tempo: beats a minute; None takes the drill's own.
        bars: first and last bar, from 1; None takes all.
        count_in: beats before the first; None is one bar.

    Raises:
        SoundError: it cannot be opened; or the built-in player has nothing to play.
        DrillError: the drill has no such bars.
        HarpError: the harp cannot play a step.
    """
    if isinstance(spec, RecordingSpec) and spec.aloud:
        return Replay(spec.path, spec.channel, spec.first, spec.last, spec.output)
    if isinstance(spec, RecordingSpec):
        return Recording(spec.path, spec.channel)
    if isinstance(spec, MicrophoneSpec):
        clicks = ClickTrack.of(drill, tempo, bars, count_in) if drill else None
        plays = drill is not None and bool(accompaniment_steps(drill, bars))
        return Microphone(spec, clicks, harp if plays else None)
    if drill is None or harp is None:
        raise SoundError("the built-in player needs a drill and a harp; name a drill to play")
    return BuiltInPlayer(drill, harp, tempo=tempo, bars=bars, count_in=count_in, spec=spec)
