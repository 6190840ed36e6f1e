"""Where samples come from and go to: microphone, recording, built-in player, click, tone."""

from trainer.sound.block import Block, Samples, Source
from trainer.sound.errors import SoundError, SourceLost
from trainer.sound.spec import Fault, MicrophoneSpec, PlayerSpec, RecordingSpec, SourceSpec

__all__ = [
    "Block",
    "Fault",
    "MicrophoneSpec",
    "PlayerSpec",
    "RecordingSpec",
    "Samples",
    "SoundError",
    "Source",
    "SourceLost",
    "SourceSpec",
]
